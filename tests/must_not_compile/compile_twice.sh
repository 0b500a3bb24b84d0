# compile_twice.sh FILE INCLUDE-FOLDER COMPILER FLAGS...
set -eu
file=$1 include=$2
shift 2
expected=$(sed -n '1s|^// refused: ||p' "$file")
[ -n "$expected" ] || { echo "$file: its first line must say \"// refused: <what the compiler says>\""; exit 1; }
if ! said=$("$@" -I"$include" -fsyntax-only "$file" 2>&1); then
    printf '%s: the good half must compile:\n%s\n' "$file" "$said"
    exit 1
fi
if said=$("$@" -DMUST_NOT_COMPILE -I"$include" -fsyntax-only "$file" 2>&1); then
    echo "$file: the bad half compiles, and must not"
    exit 1
fi
if ! printf '%s' "$said" | grep -qE -e "$expected"; then
    printf '%s: refused for another reason than "%s":\n%s\n' "$file" "$expected" "$said"
    exit 1
fi
echo "refused as it should be: $expected"
