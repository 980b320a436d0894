#!/usr/bin/env python3
"""Mutation testing: changes the code in one place at a time and sees whether a test notices.

    mutate.py BUILD [--sample N] [--seed N] [--jobs N] [--list] [--only ID...] [FILE...]

All mutants of the named sources (else of src/decide, src/diagnose, sets of conditions and the record
reader) are compiled in at once and chosen by the environment variable DRYSHAFT_MUTANT, so there is
one build in BUILD, then one run of the matching tests a mutant. Kinds: comparisons, arithmetic,
conditions (turned round, always, never), numbers (plus one), statements (left out).
"""
import argparse
import collections
import concurrent.futures
import os
import pathlib
import random
import re
import shutil
import signal
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
SOURCES = ["src/decide/judge.cpp", "src/decide/assess.cpp", "src/decide/checks.cpp",
           "src/decide/story.cpp", "src/decide/sureness.cpp", "src/decide/wording.cpp",
           "src/knowledge/condition_set.cpp",
           "src/diagnose/model.cpp", "src/diagnose/present.cpp", "src/record/reader.cpp",
           "src/record/records.cpp", "src/record/history.cpp", "src/record/layout.cpp",
           "src/record/table.cpp", "src/record/cells.cpp", "src/record/columns.cpp"]
# The unit tests that know a folder; cases and golden reports are tried before, for every folder.
TESTS = {"src/record": ["record", "record_write", "history", "csv_import", "pieces", "gaps"],
         "src/knowledge": ["knowledge", "shortcuts"],
         "src/diagnose": ["decide", "history", "story", "report", "gaps", "shortcuts", "diagnose"],
         "src/decide": ["decide", "history", "cases", "story", "report", "gaps", "shortcuts"]}
TIMEOUT = 120  # seconds a mutant; one that hangs is noticed as well

sys.path.insert(0, str(ROOT / "tests" / "house"))
from source_rules import NOT_CODE  # noqa: E402  what is no code: comments and literals

OPERATORS = {"<": ("less", 2), "<=": ("less_equal", 2), ">": ("greater", 2), ">=": ("greater_equal", 2),
             "==": ("equal", 1), "!=": ("unequal", 1), "-": ("minus", 1), "*": ("times", 1), "/": ("over", 1)}
# What ends an operand, going away from the operator; tighter for arithmetic.
LOOSE = {"&&", "||", "?", ":", "=", "+=", "-=", "*=", "/=", "%=", "^=", "|=", "&=", "return", ",", ";", "==", "!=", "<", "<=", ">", ">=",
         "<<", ">>", "|", "&", "^", "<=>", "co_return", "case"}
TIGHT = LOOSE | {"+", "-"}
TIGHTEST = TIGHT | {"*", "/", "%"}
TOKEN = re.compile(r"\s+|[A-Za-z_]\w*|\d[\w.']*|::|->|<=>|<<|>>|&&|\|\||[<>=!+\-*/|&^%]=|\+\+|--|.", re.S)
OPEN, CLOSE = "([{", ")]}"

Mutant = collections.namedtuple("Mutant", "id file line what")


def blanked(text):
    """The same text with all that is no code replaced by as many `@`, line ends kept."""
    return NOT_CODE.sub(lambda m: re.sub(r"[^\n]", "@", m[0]), text)


class Source:
    def __init__(self, path, first_id, skip_lines):
        self.path, self.next_id, self.skip = path, first_id, skip_lines
        self.text = (ROOT / path).read_text(encoding="utf-8")
        code = blanked(self.text)
        self.tokens = [(m[0], m.start()) for m in TOKEN.finditer(code)]
        self.opens = collections.defaultdict(list)  # offset -> (where it ends, kind, text)
        self.closes = collections.Counter()  # offset -> brackets
        self.cuts = {}  # offset -> length
        self.mutants = []
        self.constant_lines = self.lines_of_constants(code)

    @staticmethod
    def lines_of_constants(code):
        """Lines that the compiler works out, or that declare: nothing to mutate there."""
        out = set()
        for m in re.finditer(r"^.*\b(constexpr|static_assert|enum|using|template|static const)\b[^;{]*[;{]", code, re.M):
            first = code.count("\n", 0, m.start())
            out.update(range(first + 1, first + 2 + m[0].count("\n")))
        return out

    def line(self, at):
        return self.text.count("\n", 0, at) + 1

    def usable(self, at):
        line = self.line(at)
        return line not in self.skip and line not in self.constant_lines

    def new(self, at, what, count):
        first = self.next_id
        for i, one in enumerate(what):
            self.mutants.append(Mutant(first + i, self.path, self.line(at), one))
        self.next_id += count
        return first

    def wrap(self, begin, end, kind, opening):
        self.opens[begin].append((end, kind, opening))
        self.closes[end] += 1

    def bound(self, index, step, stops):
        """The offset where the operand ends that begins next to token `index`."""
        opening, closing = (OPEN, CLOSE) if step > 0 else (CLOSE, OPEN)
        depth = 0
        i = index + step
        last = None
        while 0 <= i < len(self.tokens):
            token, at = self.tokens[i]
            if token.isspace():
                i += step
                continue
            if token in closing and depth == 0:
                break
            if depth == 0 and token in stops:
                # A minus without anything before it is a sign.
                before = self.previous(i)
                if not (token == "-" and step < 0 and before in stops | set(OPEN)) and not (
                        token == "-" and step > 0 and last is None) and not (
                        token in "<>&*" and self.is_type_mark(i)):
                    break
            depth += (token in opening) - (token in closing)
            last = at if step < 0 else at + len(token)
            i += step
        return last

    def previous(self, i):
        i -= 1
        while i >= 0 and self.tokens[i][0].isspace():
            i -= 1
        return self.tokens[i][0] if i >= 0 else ""

    def is_type_mark(self, i):
        """`<` of a template, `&` or `*` of a type: not set off by spaces on both sides."""
        return not (self.tokens[i - 1][0].isspace() and i + 1 < len(self.tokens) and
                    self.tokens[i + 1][0].isspace())

    def find(self):
        depth_stack = []
        for i, (token, at) in enumerate(self.tokens):
            if token in "([{":
                depth_stack.append(token)
            elif token in ")]}" and depth_stack:
                depth_stack.pop()
            if not self.usable(at) or not depth_stack:
                continue
            if token in OPERATORS and not self.is_type_mark(i):
                self.operator(i, token, at)
            elif token in ("&&", "||") and not self.is_type_mark(i):
                begin = self.bound(i, -1, (LOOSE - {"==", "!=", "<", "<=", ">", ">="}) | {"!"} - {"!"})
                if begin is not None:
                    self.condition(begin, at, f"left of {token}")
            elif token == "if":
                self.whole_condition(i)
            elif re.fullmatch(r"\d+(\.\d+)?", token) and self.previous(i) not in ("case", "<", "["):
                first = self.new(at, [f"{token} + 1"], 1)
                self.wrap(at, at + len(token), 2, f"::mutation::number({first}, ")
        self.statements()

    def operator(self, i, token, at):
        name, count = OPERATORS[token]
        comparison = token in ("<", "<=", ">", ">=", "==", "!=")
        stops = LOOSE if comparison else TIGHT if token == "-" else TIGHTEST
        left_stops = stops - {"-", "+"} if token == "-" else stops - {"*", "/", "%"} if token in "*/" else stops
        begin = self.bound(i, -1, left_stops)
        end = self.bound(i, 1, stops)
        if begin is None or end is None:
            return
        what = {"<": ["<=", ">="], "<=": ["<", ">"], ">": [">=", "<="], ">=": [">", "<"], "==": ["!="],
                "!=": ["=="], "-": ["+"], "*": ["+"], "/": ["*"]}[token]
        first = self.new(at, [f"{token} -> {w}" for w in what], count)
        self.wrap(begin, end, 1, f"::mutation::{name}({first}, ")
        self.cuts[at] = (len(token), ",")

    def condition(self, begin, end, where):
        end = len(self.text[:end].rstrip())
        first = self.new(begin, [f"condition {w} ({where})" for w in ("turned", "true", "false")], 3)
        self.wrap(begin, end, 0, f"::mutation::condition({first}, ")

    def whole_condition(self, i):
        j = i + 1
        while self.tokens[j][0].isspace():
            j += 1
        if self.tokens[j][0] != "(":
            return
        depth, k, begin = 0, j, self.tokens[j][1] + 1
        while True:
            token, at = self.tokens[k]
            depth += (token in OPEN) - (token in CLOSE)
            if depth == 1 and token == ";":
                begin = at + 1
            if depth == 0:
                break
            k += 1
        inside = self.text[begin:at]
        if re.search(r"(?<![=!<>])=(?!=)", blanked(inside)) or "constexpr" in self.text[begin - 20:begin]:
            return  # a declaration
        begin += len(inside) - len(inside.lstrip())
        self.condition(begin, at, "if")

    def statements(self):
        code = blanked(self.text)
        for m in re.finditer(r"(?<=[;{}]\n)( +)((?:[a-z_]\w*(?:\.|->|\[|\(|::))[^;{}\n]*|[a-z_]\w*_? (?:[+|&*-]?=) [^;{}\n]*|\+\+[^;{}\n]*);\n",
                             code):
            at = m.start(2)
            if self.usable(at) and not re.match(r"(return|throw|case|default|static|const|auto|using|std::[\w:<>]+ )", m[2]) \
                    and m[2].count("(") == m[2].count(")"):
                first = self.new(at, ["left out: " + self.text[at:at + 50].split("\n")[0]], 1)
                self.opens[at].append((len(self.text), -1, f"if (::mutation::keep({first})) "))

    def written(self):
        out, at = [], 0
        for place in sorted(set(self.opens) | set(self.closes) | set(self.cuts)):
            out.append(self.text[at:place])
            at = place
            out.append(")" * self.closes[place])
            # What ends last stands first: it holds the others.
            out += [text for _, _, text in sorted(self.opens[place], key=lambda o: (-o[0], o[1]))]
            if place in self.cuts:
                length, new = self.cuts[place]
                out.append(new)
                at = place + length
        out.append(self.text[at:])
        return "".join(out)


def make_tree(build, files, skips):
    tree = build / "tree"
    for name in ("CMakeLists.txt", "LICENSE", "src", "include", "tests", "data", "examples"):
        source, target = ROOT / name, tree / name
        if source.is_dir():
            shutil.copytree(source, target, dirs_exist_ok=True, copy_function=copy_if_new)
        else:
            copy_if_new(source, target)
    mutants = []
    for path in files:
        source = Source(path, len(mutants) + 1, skips.get(path, set()))
        source.find()
        mutants += source.mutants
        text = source.written()
        target = tree / path
        if target.read_text(encoding="utf-8") != text:
            target.write_text(text, encoding="utf-8")
    return tree, mutants


def copy_if_new(source, target):
    target = pathlib.Path(target)
    target.parent.mkdir(parents=True, exist_ok=True)
    if not target.exists() or target.read_bytes() != pathlib.Path(source).read_bytes():
        shutil.copyfile(source, target)
    return target


def compile_errors(tree, files):
    """Lines of the mutated sources that do not compile, by file."""
    found = collections.defaultdict(set)
    for path in files:
        done = subprocess.run(
            ["g++", "-std=c++20", "-fsyntax-only", "-w", "-fmax-errors=0", "-Isrc", "-Iinclude",
             "-include", str(ROOT / "tests/mutation/mutation.hpp"), '-DDRYSHAFT_VERSION="0"', path],
            cwd=tree, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            for m in re.finditer(re.escape(path) + r":(\d+):", done.stderr):
                found[path].add(int(m[1]))
    return found


def prepare(build, files):
    skips = collections.defaultdict(set)
    to_try = files
    for reach in range(1, 16):
        tree, mutants = make_tree(build, files, skips)
        errors = compile_errors(tree, to_try)
        if not errors:
            return tree, mutants
        # An expression may go over several lines: its neighbours go as well, more of them each time.
        for path, lines in errors.items():
            skips[path] |= {n + d for n in lines for d in range(-reach, reach + 1)}
        to_try = list(errors)
    sys.exit(f"cannot be compiled: {dict(errors)}")


def compile_all(build, tree):
    subprocess.run(
        ["cmake", "-G", "Ninja", "-S", str(tree), "-B", str(build / "build"), "-DCMAKE_BUILD_TYPE=Release",
         "-DCMAKE_CXX_FLAGS_RELEASE=-O1", "-DDRYSHAFT_UNITY=ON", "-DBUILD_TESTING=ON",
         f"-DCMAKE_CXX_FLAGS=-std=c++20 -w -include {ROOT}/tests/mutation/mutation.hpp",
         "-DPython3_EXECUTABLE=/usr/bin/python3"]
        + (["-DCMAKE_CXX_COMPILER_LAUNCHER=ccache"] if shutil.which("ccache") else []),
        check=True, stdout=subprocess.DEVNULL)
    subprocess.run(["cmake", "--build", str(build / "build"), "--target", "dryshaft_program", "dryshaft_tests"],
                   check=True)


def notices(build, tree, mutant, file=None):
    """The first of the tests that fails with the mutant alive, or None."""
    env = {**os.environ, "DRYSHAFT_MUTANT": str(mutant)}
    program = build / "build" / "dryshaft"
    cases = sorted(str(p) for p in (ROOT / "tests/cases").glob("*.json"))
    unit = ",".join(f"[#{name}_test]~[long]"
                    for name in TESTS.get(os.path.dirname(file or ""), sum(TESTS.values(), [])))
    for name, command in (
            ("cases", [str(program), "rules", "test", "--coverage", "100", *cases]),
            ("golden", [sys.executable, "tests/golden_test.py", str(program)]),
            ("unit", [str(build / "build/tests/dryshaft_tests"), "-a", "-#", unit])):
        # A session of its own, so that what a test has started ends with it.
        running = subprocess.Popen(command, cwd=tree, env=env, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.DEVNULL, start_new_session=True)
        try:
            if running.wait(TIMEOUT) != 0:
                return name
        except subprocess.TimeoutExpired:
            os.killpg(running.pid, signal.SIGKILL)
            running.wait()
            return name + " (hangs)"
    return None


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("build", type=pathlib.Path)
    parser.add_argument("files", nargs="*", default=SOURCES)
    parser.add_argument("--sample", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--only", type=int, nargs="*")
    o = parser.parse_intermixed_args()
    build = o.build.resolve()
    tree, mutants = prepare(build, o.files or SOURCES)
    if o.list:
        for m in mutants:
            print(*m)
        return 0
    compile_all(build, tree)
    failing = notices(build, tree, 0)
    if failing is not None:
        sys.exit(f"the tests fail without a mutant: {failing}")
    chosen = mutants
    if o.only:
        chosen = [m for m in mutants if m.id in o.only]
    elif o.sample:
        chosen = sorted(random.Random(o.seed).sample(mutants, min(o.sample, len(mutants))))
    killed = collections.Counter()
    total = collections.Counter()
    with concurrent.futures.ThreadPoolExecutor(o.jobs) as pool:
        for m, by in zip(chosen, pool.map(lambda m: notices(build, tree, m.id, m.file), chosen)):
            total[m.file] += 1
            killed[m.file] += by is not None
            if by is None:
                print(f"survived: {m.id} {m.file}:{m.line}: {m.what}", flush=True)
    for file in sorted(total):
        print(f"{file}: {killed[file]} of {total[file]}")
    print(f"{sum(killed.values())} of {sum(total.values())} killed "
          f"({100 * sum(killed.values()) / sum(total.values()):.1f} %), of {len(mutants)} mutants, seed {o.seed}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
