# The include gate passes the tree, and a small planted tree with one violation at a time is refused.
. "$(dirname "$0")/planting.sh"
gate="$root/script/gate/includes"
passes "the tree" bash "$gate" "$root"

# plant MODULE/FILE "LINES": a fresh small tree with one file more.
plant() {
    rm -rf "$scratch/tree"
    mkdir -p "$scratch/tree/cmake"
    cp "$root/cmake/Modules.cmake" "$scratch/tree/cmake/"
    for module in base fit uptake chamber intake simulate report app; do
        mkdir -p "$scratch/tree/src/$module"
        printf '#pragma once\n// Start here: %s.\n' $module >"$scratch/tree/src/$module/$module.hpp"
    done
    printf 'backeddy_module(base)\n' >"$scratch/tree/src/base/CMakeLists.txt"
    printf 'backeddy_module(fit USES base)\n' >"$scratch/tree/src/fit/CMakeLists.txt"
    printf 'backeddy_module(uptake USES fit\n    LIBRARIES Eigen)\n' >"$scratch/tree/src/uptake/CMakeLists.txt"
    printf 'backeddy_module(intake)\n' >"$scratch/tree/src/intake/CMakeLists.txt"
    printf 'backeddy_module(simulate USES chamber fit)\n' >"$scratch/tree/src/simulate/CMakeLists.txt"
    printf 'backeddy_module(report USES base)\n' >"$scratch/tree/src/report/CMakeLists.txt"
    printf 'backeddy_module(app USES report simulate)\n' >"$scratch/tree/src/app/CMakeLists.txt"
    mkdir -p "$(dirname "$scratch/tree/src/$1")"
    printf '%b' "$2" >"$scratch/tree/src/$1"
}
check() { bash "$gate" "$scratch/tree"; }

plant uptake/a.cpp '#include "fit/fit.hpp"\n#include "base/base.hpp"\n'
passes "downward includes, one of them through another module" check
plant fit/a.cpp '#include "uptake/uptake.hpp"\n'
bites "an upward include" 'fit/a.cpp:1: .*uptake stands below' check
plant app/a.cpp '#include "report/report.hpp"\n#include "simulate/simulate.hpp"\n'
passes "app joins the siblings" check
plant report/a.cpp '#include "simulate/simulate.hpp"\n'
bites "a sibling" 'must not know each other' check
plant intake/a.cpp '#include "fit/fit.hpp"\n'
bites "a module that CMake is not told of" 'does not USE fit' check
plant simulate/a.cpp '#include "fit/fit.hpp"\n'
bites "physics that borrows an estimator" 'shares no code with the estimators' check
plant fit/a.cpp '#include <fstream>\n'
bites "files in a module without weather" 'no use for <fstream>' check
plant fit/a.cpp 'auto now = std::chrono::system_clock::now();\n'
bites "the clock on the wall" 'no clock on the wall' check
plant intake/a.hpp '#pragma once\n#include <nlohmann/json.hpp>\n'
bites "a heavy header in a header" 'belongs in a .cpp file' check
plant intake/a.cpp '#include <nlohmann/json.hpp>\n'
passes "a heavy header in a .cpp file" check
plant intake/a.cpp '#include "../base/base.hpp"\n'
bites "a path with .." 'not by' check
plant intake/a.hpp '// no guard\n'
bites "a header without #pragma once" 'begins with #pragma once' check
plant extras/a.hpp '#pragma once\n// Start here: nowhere.\n'
bites "a module outside the list" 'not among BACKEDDY_MODULES' check
plant base/base.hpp '#pragma once\n'
bites "a module without a front door" 'src/base: no header opens with' check
plant cli/a.cpp '#include "app/app.hpp"\n#include "report/report.hpp"\n'
printf '#pragma once\n// Start here: cli.\n' >"$scratch/tree/src/cli/cli.hpp"
printf 'add_executable(backeddy a.cpp)\ntarget_link_libraries(backeddy PRIVATE backeddy_app)\n' >"$scratch/tree/src/cli/CMakeLists.txt"
passes "a program that links what it includes" check
printf 'add_executable(backeddy a.cpp)\n' >"$scratch/tree/src/cli/CMakeLists.txt"
bites "a program that does not" 'does not USE app' check
mkdir -p "$scratch/empty/src"
bites "a tree without files" 'a check of nothing' bash "$gate" "$scratch/empty"
finish
