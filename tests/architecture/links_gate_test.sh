# The links gate passes the tree, and refuses a link or a command of the README that leads nowhere.
. "$(dirname "$0")/planting.sh"
gate="$root/script/gate/links"
passes "the tree" bash "$gate" "$root"

plant() {
    rm -rf "$scratch/tree"
    mkdir -p "$scratch/tree/docs" "$scratch/tree/script" "$scratch/tree/src/cli"
    printf '#!/bin/sh\n' >"$scratch/tree/script/demo"
    chmod +x "$scratch/tree/script/demo"
    printf 'app.add_subcommand("run", "...");\n' >"$scratch/tree/src/cli/run.cpp"
    printf 'a page\n' >"$scratch/tree/docs/a.md"
    printf '%b' "$1" >"$scratch/tree/README.md"
}
check() { bash "$gate" "$scratch/tree"; }

plant '[a](docs/a.md#part) [web](https://example.org/x)\n\n    script/demo\n    build/release/backeddy run DIR\n'
passes "links and commands that are there" check
plant '[a](docs/b.md)\n'
bites "a link to nowhere" 'docs/b.md", which is not there' check
plant '    script/install\n'
bites "a script that is not there" 'script/install, which is not there' check
plant '    build/release/backeddy walk DIR\n'
bites "a command that the program does not have" 'backeddy walk' check
finish
