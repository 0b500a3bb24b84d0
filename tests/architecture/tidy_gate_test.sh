# The tidy gate passes a file named as we name things and refuses wrong names and a known trap, under the tree's own
# .clang-tidy.
command -v clang-tidy-19 >/dev/null 2>&1 || { echo "clang-tidy-19 is not there: script/setup test"; exit 77; }
. "$(dirname "$0")/planting.sh"
mkdir -p "$scratch/src"
cp "$root/.clang-tidy" "$scratch/"
plant() {
    printf '%b' "$1" >"$scratch/src/a.cpp"
    printf '[{"directory":"%s","file":"%s/src/a.cpp","command":"clang++-19 -std=c++20 -c %s/src/a.cpp"}]' \
        "$scratch" "$scratch" "$scratch" >"$scratch/compile_commands.json"
}
check() { "$root/script/gate/tidy" "$scratch" "$scratch/src/a.cpp"; }

plant 'class GoodName {\n  public:\n    int good_verb() const { return held_; }\n  private:\n    int held_ = 0;\n};\nint twice(int number) { const GoodName V; return number * 2 + V.good_verb(); }\n'
passes "good names" check
plant 'int BadFunction(int number) { return number; }\n'
bites "a function in CamelCase" 'invalid case style for function' check
plant 'struct bad_type {};\n'
bites "a type in snake_case" 'invalid case style for struct' check
plant 'enum class Colour { Red };\n'
bites "an enumerator in CamelCase" 'invalid case style for enum constant' check
plant 'class GoodName {\n    int held = 0;\n  public:\n    int verb() const { return held; }\n};\n'
bites "a private member without its underscore" 'invalid case style for private member' check
plant '#include <string>\n#include <utility>\nint f(std::string text) { std::string other = std::move(text); return static_cast<int>(text.size() + other.size()); }\n'
bites "a use after move" 'used after it was moved' check
rm "$scratch/compile_commands.json"
bites "a folder without compile commands" 'no compile_commands.json' check
finish
