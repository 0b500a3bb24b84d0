# The words gate passes the tree, and refuses each kind of word that has no business in it.
. "$(dirname "$0")/planting.sh"
gate="$root/script/gate/words"
passes "the tree" bash "$gate" "$root"

plant() {
    rm -rf "$scratch/tree"
    mkdir -p "$scratch/tree/.ci"
    printf 'nothing wrong here; see https://example.org/home/page and src/work/a\n' >"$scratch/tree/README.md"
    printf '%b' "$2" >"$scratch/tree/$1"
}
check() { bash "$gate" "$scratch/tree"; }
sl=/ # so that this file does not hold what it plants

plant a.md 'fine. TO''DO(#12): more\n'
passes "clean text, a web address, a to-do with its issue" check
plant a.cpp "// see ${sl}home/somebody/data.csv\n"
bites "a home folder" 'path of somebody' check
plant a.cmake "set(X ${sl}work/main/build)\n"
bites "a work folder" 'path of somebody' check
plant a.sh "cat ..${sl}shared/x\n"
bites "a folder beside the project" 'folder beside the project' check
plant .ci/run "cat ..${sl}shared/x\n"
passes "the one place that may say it" check
plant package-lock.json '"resolv''ed": "https://registry.example/x.tgz"\n'
bites "a download address" 'address a package was fetched from' check
plant a.cpp '// TO''DO: later\n'
bites "a to-do without an issue" 'say the issue' check
plant a.cpp '// FIX''ME(soon) later\n'
bites "a to-do with somebody's word for it" 'say the issue' check
finish
