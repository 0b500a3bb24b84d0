# The format gate refuses a file that is not laid out. (That the tree passes is a step of script/test of its own: here
# it would judge files that somebody is just writing.)
command -v clang-format-19 >/dev/null 2>&1 || { echo "clang-format-19 is not there: script/setup test"; exit 77; }
. "$(dirname "$0")/planting.sh"
cp "$root/.clang-format" "$scratch/"
printf 'int main() {\n    return 0;\n}\n' >"$scratch/good.cpp"
printf 'int main( ) {\n  return 0;}\n' >"$scratch/bad.cpp"
passes "a file laid out" "$root/script/format" --check "$scratch/good.cpp"
bites "a file not laid out" 'not laid out as .clang-format says' "$root/script/format" --check "$scratch/bad.cpp"
finish
