# The rooms of the house, in the order in which they may know each other: a module links only modules that stand
# above it. tests/architecture checks the same of every #include.
set(BACKEDDY_MODULES
    base quantity water series fit stats chamber uptake condition angling study findings intake
    simulate store instruments report
    app watch live server pages cli)
# These four stand side by side: none may use another of them; app joins them.
set(BACKEDDY_SIBLINGS simulate store instruments report)

# What nearly every file of src/ reads, compiled once: over a second of each file. It saves time only: every file still
# includes what it uses, and Clang's builds go without it.
set(BACKEDDY_PRELUDE
    <algorithm> <cmath> <cstdint> <functional> <map> <memory> <optional> <string> <string_view> <utility> <variant> <vector>
    <fmt/format.h>)
find_package(fmt REQUIRED)
file(CONFIGURE OUTPUT ${PROJECT_BINARY_DIR}/prelude.cpp CONTENT "")
add_library(backeddy_prelude STATIC ${PROJECT_BINARY_DIR}/prelude.cpp)
target_compile_features(backeddy_prelude PUBLIC cxx_std_20)
target_link_libraries(backeddy_prelude PRIVATE backeddy_numerics backeddy_warnings fmt::fmt)
target_precompile_headers(backeddy_prelude PRIVATE ${BACKEDDY_PRELUDE})

# Modules of words rather than of sums: a third of the code and hardly any of a run's time, so they are compiled at -O1 in
# the time of two thirds. Numbers are the same at either. A prelude serves only what is compiled like it.
set(BACKEDDY_WORDY study findings simulate report server pages)
add_library(backeddy_wordy_prelude STATIC ${PROJECT_BINARY_DIR}/prelude.cpp)
target_compile_features(backeddy_wordy_prelude PUBLIC cxx_std_20)
target_compile_options(backeddy_wordy_prelude PUBLIC $<$<CONFIG:Release>:-O1>)
target_link_libraries(backeddy_wordy_prelude PRIVATE backeddy_numerics backeddy_warnings fmt::fmt)
target_precompile_headers(backeddy_wordy_prelude PRIVATE ${BACKEDDY_PRELUDE})

# backeddy_module(<name> [USES <modules above>] [LIBRARIES <third-party targets>])
#
# Declares src/<name> as one static library made of all its .cpp files. Third-party libraries stay private unless a
# header needs them (PUBLIC_LIBRARIES).
function(backeddy_module name)
    cmake_parse_arguments(arg "" "" "USES;LIBRARIES;PUBLIC_LIBRARIES" ${ARGN})
    if(arg_UNPARSED_ARGUMENTS)
        message(FATAL_ERROR "backeddy_module(${name}): unknown words ${arg_UNPARSED_ARGUMENTS}")
    endif()
    list(FIND BACKEDDY_MODULES ${name} own_place)
    if(own_place EQUAL -1)
        message(FATAL_ERROR "backeddy_module(${name}): not in BACKEDDY_MODULES of cmake/Modules.cmake")
    endif()
    foreach(used IN LISTS arg_USES)
        list(FIND BACKEDDY_MODULES ${used} place)
        if(place EQUAL -1 OR NOT place LESS own_place)
            message(FATAL_ERROR "module ${name} uses ${used}, which does not stand above it (cmake/Modules.cmake)")
        endif()
        if(name IN_LIST BACKEDDY_SIBLINGS AND used IN_LIST BACKEDDY_SIBLINGS)
            message(FATAL_ERROR "module ${name} uses ${used}: these two must not know each other (cmake/Modules.cmake)")
        endif()
    endforeach()

    file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.cpp ${CMAKE_CURRENT_SOURCE_DIR}/detail/*.cpp)
    file(GLOB headers CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.hpp)
    set(used_targets ${arg_USES})
    list(TRANSFORM used_targets PREPEND backeddy_)
    if(sources)
        add_library(backeddy_${name} STATIC ${sources})
        set(scope PUBLIC)
        target_link_libraries(backeddy_${name} PRIVATE backeddy_warnings ${arg_LIBRARIES})
        if("Eigen3::Eigen" IN_LIST arg_LIBRARIES)
            target_precompile_headers(backeddy_${name} PRIVATE ${BACKEDDY_PRELUDE} <Eigen/Dense>)
        elseif(name IN_LIST BACKEDDY_WORDY)
            target_compile_options(backeddy_${name} PRIVATE $<$<CONFIG:Release>:-O1>)
            target_precompile_headers(backeddy_${name} REUSE_FROM backeddy_wordy_prelude)
        else()
            target_precompile_headers(backeddy_${name} REUSE_FROM backeddy_prelude)
        endif()
    else()
        add_library(backeddy_${name} INTERFACE)
        set(scope INTERFACE)
    endif()
    target_include_directories(backeddy_${name} ${scope} ${PROJECT_SOURCE_DIR}/src)
    target_compile_features(backeddy_${name} ${scope} cxx_std_20)
    target_link_libraries(backeddy_${name} ${scope} backeddy_numerics ${used_targets} ${arg_PUBLIC_LIBRARIES})

    # Each public header must compile alone. Where its own .cpp opens with it, Clang's builds, which have no prelude, show
    # that; for the others a generated file includes it and nothing else.
    set(alone)
    if(BACKEDDY_CHECK_HEADERS)
        foreach(header IN LISTS headers)
            get_filename_component(stem ${header} NAME)
            string(REGEX REPLACE "hpp$" "cpp" own ${header})
            set(first "")
            if(EXISTS ${own})
                file(STRINGS ${own} first REGEX "^#include" LIMIT_COUNT 1)
            endif()
            if(first STREQUAL "#include \"${name}/${stem}\"")
                continue()
            endif()
            set(file ${CMAKE_CURRENT_BINARY_DIR}/alone_${stem}.cpp)
            file(CONFIGURE OUTPUT ${file} CONTENT "#include \"${name}/${stem}\"\n")
            list(APPEND alone ${file})
        endforeach()
    endif()
    if(alone)
        add_library(backeddy_${name}_headers OBJECT ${alone})
        target_link_libraries(backeddy_${name}_headers PRIVATE backeddy_${name} backeddy_warnings ${arg_LIBRARIES})
    endif()
endfunction()

# backeddy_tests(<folder> [USES <modules>] [LIBRARIES <targets>])
#
# Declares every tests/<folder>/*_test.cpp as one test program, each test case known to CTest by its own name.
function(backeddy_tests folder)
    cmake_parse_arguments(arg "" "" "USES;LIBRARIES" ${ARGN})
    file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.cpp)
    string(REPLACE "/" "_" stem ${folder})
    set(target ${stem}_tests)
    add_executable(${target} ${sources})
    set(used_targets ${arg_USES})
    list(TRANSFORM used_targets PREPEND backeddy_)
    target_include_directories(${target} PRIVATE ${PROJECT_SOURCE_DIR}/tests)
    target_compile_definitions(${target} PRIVATE BACKEDDY_SOURCE_DIR="${PROJECT_SOURCE_DIR}")
    target_link_libraries(${target} PRIVATE ${used_targets} ${arg_LIBRARIES} GTest::gtest_main backeddy_test_prelude
                                            backeddy_warnings)
    target_precompile_headers(${target} REUSE_FROM backeddy_test_prelude)
    gtest_discover_tests(${target} TEST_PREFIX "${folder}: " DISCOVERY_TIMEOUT 60
                         PROPERTIES LABELS ${stem} TIMEOUT 600)
endfunction()
