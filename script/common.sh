# Sourced by the other scripts: where the project is, how to speak, how many cores, ccache if there is one.
set -eu
export LC_ALL=C.UTF-8
top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$top"

say() { printf '%s\n' "== $*"; }
fail() {
    printf '%s\n' "$(basename "$0"): $*" >&2
    exit 1
}

jobs=${BACKEDDY_JOBS:-$(nproc 2>/dev/null || echo 2)}

# CMake reads this variable when a build folder is first configured. Not required: the builds are the same without.
if [ -z "${CMAKE_CXX_COMPILER_LAUNCHER:-}" ] && command -v ccache >/dev/null 2>&1; then
    export CMAKE_CXX_COMPILER_LAUNCHER=ccache
fi

# The C++ files that the format and tidy gates look at: tracked, and new ones that are not ignored.
cxx_files() {
    git ls-files --cached --others --exclude-standard -- '*.cpp' '*.hpp' | sort -u | while read -r file; do
        if [ -f "$file" ]; then printf '%s\n' "$file"; fi
    done
}
