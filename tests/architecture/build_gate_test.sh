# A small project with our own cmake/ files: a warning stops the build, a header must compile alone, and a module
# cannot link what stands below it or beside it.
. "$(dirname "$0")/planting.sh"
compiler=$2
tree=$scratch/tree

plant() { # plant HEADER-TEXT SOURCE-TEXT [MODULE-LINES]
    rm -rf "$tree" && mkdir -p "$tree/src/base" "$tree/src/fit" "$tree/src/report" "$tree/src/store"
    cat >"$tree/CMakeLists.txt" <<END
cmake_minimum_required(VERSION 3.25)
project(planted LANGUAGES CXX)
include($root/cmake/Warnings.cmake)
include($root/cmake/Modules.cmake)
$(printf '%b' "${3:-add_subdirectory(src/base)}")
END
    printf 'backeddy_module(base)\n' >"$tree/src/base/CMakeLists.txt"
    printf '%b' "$1" >"$tree/src/base/a.hpp"
    printf '%b' "$2" >"$tree/src/base/a.cpp"
}
# Without the common prelude: these modules link none of what it reads.
configure() {
    cmake -S "$tree" -B "$tree/build" -G Ninja -DCMAKE_CXX_COMPILER="$compiler" -DBACKEDDY_CHECK_HEADERS=ON \
        -DCMAKE_DISABLE_PRECOMPILE_HEADERS=ON
}
check() { configure && cmake --build "$tree/build"; }

header='#pragma once\n#include <string>\nstd::string name();\n'
source='#include "base/a.hpp"\nstd::string name() { return "base"; }\n'
plant "$header" "$source"
passes "a small module" check
plant "$header" "$source"'int f(int t) { { int t = 2; return t; } }\n'
bites "a warning" 'Werror' check
plant '#pragma once\nstd::string name();\n' '#include <string>\n'"$source"
bites "a header that leans on its includer" 'alone_a.hpp.cpp' check
plant '#pragma once\nstd::string name();\n' "$source"
bites "a header that leans on nothing" 'src/base/a.hpp:2:6: error' check
plant "$header" "$source" 'add_subdirectory(src/base)\nadd_subdirectory(src/fit)\n'
printf 'backeddy_module(fit USES uptake)\n' >"$tree/src/fit/CMakeLists.txt"
bites "a module that links upward" 'does not stand above it' configure
plant "$header" "$source" 'add_subdirectory(src/base)\nadd_subdirectory(src/report)\n'
printf 'backeddy_module(report USES store)\n' >"$tree/src/report/CMakeLists.txt"
bites "siblings that link" 'must not know each other' configure
plant "$header" "$source" 'add_subdirectory(src/base)\nbackeddy_module(extras USES base)\n'
bites "a module outside the list" 'not in BACKEDDY_MODULES' configure
finish
