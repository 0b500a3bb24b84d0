# What the compiler must say, and that its word is law.
add_library(backeddy_warnings INTERFACE)
target_compile_options(backeddy_warnings INTERFACE
    -Wall -Wextra -Wpedantic     # the usual three
    -Wshadow                     # a second `t` in a formula is a wrong number waiting
    -Wconversion -Wno-sign-conversion  # a double squeezed into an int loses a fish; indices may be signed or not
    -Wno-missing-field-initializers  # our options are aggregates with defaults, named where they are set
    -Wnon-virtual-dtor -Woverloaded-virtual)
if(CMAKE_CXX_COMPILER_ID MATCHES "Clang")
    # std::stable_sort of GCC 12's library uses what the library itself calls deprecated; Clang blames the caller.
    target_compile_options(backeddy_warnings INTERFACE -Wno-deprecated-declarations)
endif()
if(PROJECT_IS_TOP_LEVEL)
    target_compile_options(backeddy_warnings INTERFACE -Werror)
endif()

# Same input, same bits: no fused multiply-add unless the code writes it.
add_library(backeddy_numerics INTERFACE)
target_compile_options(backeddy_numerics INTERFACE -ffp-contract=off)

set(BACKEDDY_SANITIZE "" CACHE STRING "address, thread, or empty")
if(BACKEDDY_SANITIZE STREQUAL "address")
    add_compile_options(-fsanitize=address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer)
    add_link_options(-fsanitize=address,undefined)
elseif(BACKEDDY_SANITIZE STREQUAL "thread")
    add_compile_options(-fsanitize=thread -fno-omit-frame-pointer)
    add_link_options(-fsanitize=thread)
elseif(BACKEDDY_SANITIZE)
    message(FATAL_ERROR "BACKEDDY_SANITIZE is \"${BACKEDDY_SANITIZE}\"; it can be address or thread, one at a time")
endif()

# The fuzzer steers by which branches an input reached, so the code under it has to count them.
if(BACKEDDY_FUZZ)
    if(NOT CMAKE_CXX_COMPILER_ID MATCHES "Clang")
        message(FATAL_ERROR "BACKEDDY_FUZZ needs Clang: cmake --preset fuzz")
    endif()
    add_compile_options(-fsanitize=fuzzer-no-link)
endif()
