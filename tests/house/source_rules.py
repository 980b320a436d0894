#!/usr/bin/env python3
"""The rules of the house that a compiler does not check.

    source_rules.py [ROOT]

Prints each breach as `file:line: what` and exits 1 if there is one.
"""
import json
import pathlib
import re
import sys

# A folder may include itself and those before it; a side room, all of them but no other side room.
ORDER = ["base", "vocabulary", "drawings", "record", "knowledge", "diagnose", "decide", "report"]
SIDE_ROOMS = ["compare", "form", "guide", "noise", "onset", "outcomes", "page", "plan", "prove"]
# The folder that a public header belongs to, where it is not named after it. The report's model is
# filled by decide and laid out by report, so decide may see that header, but nothing in src/report.
HEADER_FOLDER = {"diagnostic": "base", "dryshaft": "decide", "cases": "prove",
                 "report": "decide", "machine": "knowledge",
                 "noise_input": "noise", "noise_report": "noise", "table": "record", "photo": "record",
                  "archive": "record", "stream": "record"}

TOP_LEVEL = {"CMakeLists.txt", "README.md", "DEVELOPERS.md", "LICENSE",
             "src", "include", "tests", "data", "examples"}
BUILT = re.compile(r"build.*")

# What the library must leave to its caller: (pattern, why).
FORBIDDEN = [(re.compile(pattern), why) for pattern, why in [
    (r"#\s*include\s*<(iostream|print|cstdio|locale|clocale|ctime)>", "header of what it must not do"),
    (r"\bstd::(cout|cerr|clog|cin|wcout|wcerr|print|println)\b", "the library never prints"),
    (r"\b(printf|fprintf|vprintf|vfprintf|puts|fputs|putchar|perror)\s*\(", "the library never prints"),
    (r"\bfmt::(print|println|vprint)\b", "the library never prints"),
    (r"\b(stdout|stderr)\b", "the library never prints"),
    (r"\b(exit|_exit|_Exit|quick_exit|abort|terminate)\s*\(", "the library never ends the program"),
    (r"\b(secure_)?getenv\b", "the library never reads the environment"),
    (r"\b(system|steady|high_resolution|utc)_clock\b", "the library never reads the clock"),
    (r"\bstd::time\s*\(|\b(gettimeofday|clock_gettime)\b", "the library never reads the clock"),
    (r"\b(localtime|gmtime|mktime|strftime)(_r|_s)?\b", "the library knows no time zone"),
    (r"\bsetlocale\b|\bstd::locale\b|\bimbue\b", "the library knows no locale"),
    (r"\brandom_device\b|\bs?rand\s*\(", "the library draws nothing by chance"),
    (r"(?<!\bjson)\.dump\s*\(|\bjson\.dump\s*\((?!indent, )", "JSON goes out through base/json_out.hpp"),
]]

# Code with comments and literals taken out, so that words about a thing are not the thing.
NOT_CODE = re.compile(
    r'R"(?P<tag>[^()\s\\]{0,16})\(.*?\)(?P=tag)"'      # raw string
    r"|//[^\n]*|/\*.*?\*/"                             # comments
    r'|"(?:\\.|[^"\\\n])*"'                            # string
    r"|(?<![0-9A-Fa-f])'(?:\\.|[^'\\\n])+'",           # character, not a digit separator
    re.DOTALL)
USING_NAMESPACE = re.compile(r"^using namespace ", re.MULTILINE)
USING = re.compile(r"\busing [\w:]*::(?P<using>\w+);|\bnamespace (?P<alias>\w+) =")
INCLUDE = re.compile(r'^\s*#\s*include\s*"([^"]+)"', re.MULTILINE)

TEXT_SUFFIXES = {".cpp", ".hpp", ".py", ".sh", ".md", ".txt", ".json", ".jsonl", ".css", ".js", ".svg", ""}


def line_of(text, offset):
    return text.count("\n", 0, offset) + 1


def code_only(text):
    return NOT_CODE.sub(lambda m: "\n" * m[0].count("\n"), text)


def sources(folder):
    return sorted(p for p in folder.rglob("*") if p.suffix in (".cpp", ".hpp"))


def header_folder(stem):
    return HEADER_FOLDER.get(stem, stem)


def may_include(folder):
    if folder == "cli":
        return set(ORDER + SIDE_ROOMS + ["cli"])
    if folder == "page":  # what a page asks for, the form's answers among it
        return set(ORDER + ["form", "page"])
    if folder in SIDE_ROOMS:
        return set(ORDER + [folder])
    return set(ORDER[:ORDER.index(folder) + 1])


def check_includes(root):
    known = set(ORDER + SIDE_ROOMS + ["cli"])
    files = []
    for path in sources(root / "src"):
        parts = path.relative_to(root / "src").parts
        files.append((path, parts[0] if len(parts) > 1 else ""))
    files += [(p, header_folder(p.stem)) for p in sources(root / "include" / "dryshaft")]
    for path, folder in files:
        if folder not in known:
            yield path, 1, f'"{folder}" has no place in the order of folders'
            continue
        text = path.read_text(encoding="utf-8")
        for found in INCLUDE.finditer(text):
            name = pathlib.PurePosixPath(found[1])
            if name.parts[0] == "dryshaft":
                target = header_folder(name.stem)
            elif len(name.parts) > 1:
                target = name.parts[0]
            else:
                target = folder
            where = line_of(text, found.start(1))
            if target not in known:
                yield path, where, f'"{found[1]}" has no place in the order of folders'
            elif target not in may_include(folder):
                yield path, where, f'{folder} includes "{found[1]}" of {target}'
            elif path.is_relative_to(root / "include") and name.parts[0] != "dryshaft":
                yield path, where, f'a public header includes "{found[1]}", which is not installed'


def check_words(root):
    for path in sources(root / "src") + sources(root / "include"):
        if path.is_relative_to(root / "src" / "cli"):
            continue
        code = code_only(path.read_text(encoding="utf-8"))
        for pattern, why in FORBIDDEN:
            for found in pattern.finditer(code):
                yield path, line_of(code, found.start()), f"{found[0].strip()}: {why}"


def check_usings(root):
    # Some sources are compiled and linted together: what one of them brings in holds for all, and
    # hides from clang-tidy that another's own `using` is of no use.
    for path in sources(root / "src"):
        code = code_only(path.read_text(encoding="utf-8"))
        for found in USING_NAMESPACE.finditer(code):
            yield path, line_of(code, found.start()), "using namespace at file level"
        for found in USING.finditer(code):
            name = found["using"] or found["alias"]
            if len(re.findall(rf"\b{name}\b", code[:found.start()] + code[found.end():])) == 0:
                yield path, line_of(code, found.start()), f"{name} is brought in and not used"


def check_top_level(root):
    for path in sorted(root.iterdir()):
        name = path.name
        if name not in TOP_LEVEL and not name.startswith(".") and not BUILT.fullmatch(name):
            yield path, 1, "does not belong at the top level"


def check_white_space(root):
    folders = ["src", "include", "tests", "data", "examples", ".ci"]
    files = [p for p in sorted(root.iterdir()) if p.is_file()]
    for folder in folders:
        files += sorted(p for p in (root / folder).rglob("*") if p.is_file())
    # Below tests: what the program is fed or must print, byte for byte, may look as it likes.
    free = {"corpus", "expected", "golden", "records"}
    for path in files:
        if path.suffix not in TEXT_SUFFIXES or free & set(path.relative_to(root).parts[1:2]):
            continue
        lines = path.read_bytes().split(b"\n")
        for number, line in enumerate(lines, 1):
            if line != line.rstrip():
                yield path, number, "trailing white space"
        if lines[-1] != b"":
            yield path, len(lines), "no line feed at the end"


def refuse_constant(word):
    raise ValueError(f"{word} is not JSON")


def unique_keys(pairs):
    keys = [key for key, _ in pairs]
    for key in keys:
        if keys.count(key) > 1:
            raise ValueError(f'key "{key}" stands twice')
    return dict(pairs)


def check_data(root):
    for path in sorted(p for p in (root / "data").rglob("*") if p.is_file()):
        try:
            text = path.read_text(encoding="utf-8")
            texts = text.splitlines() if path.suffix == ".jsonl" else [text]
            for number, one in enumerate(texts, 1):
                json.loads(one, parse_constant=refuse_constant, object_pairs_hook=unique_keys)
        except ValueError as error:
            yield path, 1, f"is not JSON: {error}"


# Ids of these are words of a closed list that the loader demands, so rules cannot rename them.
CLOSED_LISTS = {"grades", "settings", "values", "contradictions"}


def ids_in(node, kind=""):
    if isinstance(node, dict):
        if isinstance(node.get("id"), str):
            yield kind, node["id"]
        for key, value in node.items():
            yield from ids_in(value, key)
    elif isinstance(node, list):
        for value in node:
            yield from ids_in(value, kind)


def check_rule_ids(root):
    # Rules are data: code that knows one by its id does something else where a shop calls it
    # otherwise. Causes are words of the vocabulary; a key of JSON output is no id.
    ids = set()
    causes = set()
    for folder in ("rules", "work"):
        for path in sorted((root / "data" / folder).glob("*.json")):
            try:
                data = json.loads(path.read_text(encoding="utf-8"))
            except ValueError:
                continue  # check_data says so
            for kind, one in ids_in(data):
                if kind == "causes":
                    causes.add(one)
                elif kind and kind not in CLOSED_LISTS:
                    ids.add(one)
    for path in sources(root / "src") + sources(root / "include"):
        known = ids | (causes if path.parent != root / "src" / "vocabulary" else set())
        text = path.read_text(encoding="utf-8")
        for found in NOT_CODE.finditer(text):
            literal = found[0]
            if literal.startswith("/") or text[:found.start()].endswith("key("):
                continue
            body = literal[literal.find('"') + 1:-1]
            for one in sorted(known):
                # By itself, or in quotes within a longer text such as a piece of JSON.
                if body == one or f'"{one}"' in body or f'\\"{one}\\"' in body:
                    yield path, line_of(text, found.start()), f'"{one}" is an id of the rule data'


CHECKS = [check_includes, check_words, check_usings, check_top_level, check_white_space, check_data,
          check_rule_ids]


def breaches(root):
    for check in CHECKS:
        for path, line, what in check(root):
            yield f"{path.relative_to(root)}:{line}: {what}"


def main():
    root = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else ".").resolve()
    if not sources(root / "src"):
        print(f"no sources under {root}/src")
        return 1
    found = list(breaches(root))
    for line in found:
        print(line)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
