#!/usr/bin/env python3
"""Tries every house check on a small tree that breaks it, and on one that does not.

    house_test.py [C++ COMPILER]
"""
import pathlib
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
COMPILER = sys.argv[1] if len(sys.argv) > 1 else "c++"

GOOD = {
    "README.md": "# A\n",
    "include/dryshaft/diagnostic.hpp": "// base\n",
    "include/dryshaft/record.hpp": '#include "dryshaft/diagnostic.hpp"\n',
    "src/base/text.hpp": '// may not call exit() or std::cout\nconst char* kWord = "printf(";\n',
    "src/base/use.cpp": "using a::b;\nnamespace c = a::d;\nb e = c::f();\n",
    "src/record/reader.cpp": '#include "base/text.hpp"\n#include "dryshaft/record.hpp"\n'
                             "int k = 1'000; char c = 'x'; int l = 2'000;\n",
    "src/onset/fit.cpp": '#include "base/text.hpp"\n',
    "src/cli/main.cpp": '#include "base/text.hpp"\nint main() { std::cout << getenv("X"); }\n',
    "src/vocabulary/words.cpp": 'const char* kLeak = "seal-leak";\n',
    "src/report/json.cpp": 'void f() { json.key("recheck"); g("risk-high", "rechecks", "D"); }\n',
    "data/rules.json": '{"a": 1}\n',
    "data/rules/actions.json": '{"actions": [{"id": "recheck"}]}\n',
    "data/rules/causes.json": '{"causes": [{"id": "seal-leak"}]}\n',
    "data/rules/rules.json": '{"id": "shipped", "settings": [{"id": "risk-high"}]}\n',
    "data/work/jobs.json": '{"jobs": [{"id": "job", "steps": [{"id": "drain"}]}]}\n',
    "tests/records/spaced.json": '{"a": 1} ',
}

# What is added to the good tree, and the whole of what is then said.
BREACHES = [
    ({"src/base/up.cpp": '\n#include "record/reader.hpp"\n'},
     'src/base/up.cpp:2: base includes "record/reader.hpp" of record'),
    ({"src/base/up.cpp": '#include "dryshaft/record.hpp"\n'},
     'src/base/up.cpp:1: base includes "dryshaft/record.hpp" of record'),
    ({"src/report/up.cpp": '#include "cli/a.hpp"\n'},
     'src/report/up.cpp:1: report includes "cli/a.hpp" of cli'),
    ({"src/onset/side.cpp": '#include "plan/a.hpp"\n'},
     'src/onset/side.cpp:1: onset includes "plan/a.hpp" of plan'),
    ({"src/decide/up.cpp": '#include "dryshaft/report.hpp"\n#include "report/words.hpp"\n'},
     'src/decide/up.cpp:2: decide includes "report/words.hpp" of report'),
    ({"src/decide/up.cpp": '#include "prove/space.hpp"\n'},
     'src/decide/up.cpp:1: decide includes "prove/space.hpp" of prove'),
    ({"src/outcomes/side.cpp": '#include "dryshaft/cases.hpp"\n'},
     'src/outcomes/side.cpp:1: outcomes includes "dryshaft/cases.hpp" of prove'),
    ({"src/diagnose/up.cpp": '#include "dryshaft/report.hpp"\n'},
     'src/diagnose/up.cpp:1: diagnose includes "dryshaft/report.hpp" of decide'),
    ({"src/report/side.cpp": '#include "onset/a.hpp"\n'},
     'src/report/side.cpp:1: report includes "onset/a.hpp" of onset'),
    ({"include/dryshaft/knowledge.hpp": '#include "dryshaft/dryshaft.hpp"\n'},
     'include/dryshaft/knowledge.hpp:1: knowledge includes "dryshaft/dryshaft.hpp" of decide'),
    ({"include/dryshaft/decide.hpp": '#include "base/text.hpp"\n'},
     'include/dryshaft/decide.hpp:1: a public header includes "base/text.hpp", which is not '
     'installed'),
    ({"include/dryshaft/extra.hpp": "\n"},
     'include/dryshaft/extra.hpp:1: "extra" has no place in the order of folders'),
    ({"src/extra/a.cpp": "\n"}, 'src/extra/a.cpp:1: "extra" has no place in the order of folders'),
    ({"src/base/a.cpp": "\n\nvoid f() { std::cout << 1; }\n"},
     "src/base/a.cpp:3: std::cout: the library never prints"),
    ({"src/base/a.cpp": "void f() { printf(kWord); }\n"},
     "src/base/a.cpp:1: printf(: the library never prints"),
    ({"src/base/a.cpp": "void f() { std::exit(1); }\n"},
     "src/base/a.cpp:1: exit(: the library never ends the program"),
    ({"src/base/a.cpp": "auto f() { return std::getenv(kWord); }\n"},
     "src/base/a.cpp:1: getenv: the library never reads the environment"),
    ({"src/base/a.cpp": "auto f() { return std::chrono::system_clock::now(); }\n"},
     "src/base/a.cpp:1: system_clock: the library never reads the clock"),
    ({"src/base/a.cpp": "auto f() { return localtime(&t); }\n"},
     "src/base/a.cpp:1: localtime: the library knows no time zone"),
    ({"include/dryshaft/record.hpp": "inline void f() { setlocale(0, kWord); }\n"},
     "include/dryshaft/record.hpp:1: setlocale: the library knows no locale"),
    ({"src/base/a.cpp": "auto f(J json) { return json.dump(2); }\n"},
     "src/base/a.cpp:1: json.dump(: JSON goes out through base/json_out.hpp"),
    ({"src/base/a.cpp": "namespace a {\nusing namespace b;\n"},
     "src/base/a.cpp:2: using namespace at file level"),
    ({"src/base/a.cpp": "using a::b;\nusing a::c;\nb d;  // c\n"},
     "src/base/a.cpp:2: c is brought in and not used"),
    ({"src/cli/a.cpp": "namespace a = b::c;\nint d = b::c::e();\n"},
     "src/cli/a.cpp:1: a is brought in and not used"),
    ({"notes.md": "a\n"}, "notes.md:1: does not belong at the top level"),
    ({"data/rules.json": '{"a": 1} \n'}, "data/rules.json:1: trailing white space"),
    ({"README.md": "# A"}, "README.md:1: no line feed at the end"),
    ({"data/b.json": '{"a": 1, "a": 2}\n'}, 'data/b.json:1: is not JSON: key "a" stands twice'),
    ({"data/b.json": '{"a": NaN}\n'}, "data/b.json:1: is not JSON: NaN is not JSON"),
    ({"data/b.json": "{\n"}, "data/b.json:1: is not JSON: Expecting property name enclosed in "
                             "double quotes: line 2 column 1 (char 2)"),
    ({"src/plan/a.cpp": '\nbool f() { return id == "recheck"; }\n'},
     'src/plan/a.cpp:2: "recheck" is an id of the rule data'),
    ({"include/dryshaft/plan.hpp": 'constexpr auto kStep = "drain";\n'},
     'include/dryshaft/plan.hpp:1: "drain" is an id of the rule data'),
    ({"src/plan/a.cpp": 'auto f() { return "seal-leak"; }\n'},
     'src/plan/a.cpp:1: "seal-leak" is an id of the rule data'),
    ({"src/plan/a.cpp": 'auto f() { return R"({"seal-leak": "present"})"; }\n'},
     'src/plan/a.cpp:1: "seal-leak" is an id of the rule data'),
    ({"src/plan/a.cpp": 'auto f() { return "{\\"seal-leak\\": 1}"; }\n'},
     'src/plan/a.cpp:1: "seal-leak" is an id of the rule data'),
]

GOOD_TEXTS = {
    "data/rules/actions.json": '{"actions": [{"id": "renew-seal", "text": "Replace the seal.", '
                               '"reason": "No sign of damage.", "source": "the maker said so"}]}\n',
    "data/rules/grades.json": '{"plain": ["Do not drive it."]}\n',
    "src/vocabulary/a.cpp": '// a renewed seal\nconst char* k[] = {"renewed", "seal "\n"replaced"};\n',
    "src/base/a.cpp": 'const char* k = "the seal is renewed";\n',
}
BAD_TEXTS = [
    ({"data/a.json": '{"a": 1,\n "text": "the maker\'s figures"}\n'},
     'data/a.json:2: "maker": write manufacturer'),
    ({"data/a.json": '{"meaning": "At least B by this."}\n'},
     'data/a.json:1: "At least B": write no better than B'),
    ({"data/a.json": '{"text": "It is a short look."}\n'},
     'data/a.json:1: "short look": write port check; recheck, for the next'),
    ({"data/a.json": '{"text": "Yes. %s."}\n' % " ".join(["No a.c. and"] * 9)},
     'data/a.json:1: a sentence of 27 words: "No a.c. and No a.c. and ..."'),
    ({"data/rules/a.json": '{"plain": ["Insulation deterioration necessitates investigation."]}\n'},
     "data/rules/a.json:1: texts for owners ask for 42.0 years of school"),
    ({"src/vocabulary/b.cpp": '\nconst char* k = "the " // why\n    "seal renewed";\n'},
     'src/vocabulary/b.cpp:2: "renewed": write replace'),
    ({"src/vocabulary/b.cpp": 'const char* k = R"a(a (hurt) part)a";\n'},
     'src/vocabulary/b.cpp:1: "hurt": write damage, damaged; injure, of people'),
]

GOOD_LIBRARY = "int twice(int x) { return 2 * x; }\n"
BAD_LIBRARY = [
    ("#include <cstdlib>\nvoid f() { std::exit(1); }\n", "exit"),
    ("#include <cstdlib>\nvoid f() { std::abort(); }\n", "abort"),
    ("#include <cstdlib>\nconst char* f() { return std::getenv(\"A\"); }\n", "getenv"),
    ("#include <ctime>\nstd::time_t f() { return std::time(nullptr); }\n", "time"),
    ("#include <ctime>\nstd::tm* f(std::time_t t) { return std::localtime(&t); }\n", "localtime"),
    ("#include <chrono>\nauto f() { return std::chrono::system_clock::now(); }\n",
     "std::chrono::_V2::system_clock::now()"),
    ("#include <clocale>\nvoid f() { std::setlocale(LC_ALL, \"\"); }\n", "setlocale"),
    ("#include <cstdio>\nvoid f(int x) { std::printf(\"%d\", x); }\n", "printf"),
    ("#include <iostream>\nvoid f() { std::cout << 1; }\n", "std::cout"),
    ("", "defines no function"),
]

failures = 0


def expect(name, got, wanted):
    global failures
    if got != wanted:
        failures += 1
        print(f"{name}\n  got:    {got!r}\n  wanted: {wanted!r}")


def run(script, *arguments):
    done = subprocess.run([sys.executable, HERE / script, *arguments], capture_output=True,
                          text=True, check=False)
    return done.returncode, done.stdout + done.stderr


def try_tree(files, script="source_rules.py"):
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            path = pathlib.Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        return run(script, folder)


def try_library(source):
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder)
        (path / "a.cpp").write_text(source, encoding="utf-8")
        subprocess.run([COMPILER, "-std=c++20", "-O2", "-c", "a.cpp"], cwd=path, check=True)
        subprocess.run(["ar", "rc", "a.a", "a.o"], cwd=path, check=True)
        return run("library_symbols.py", str(path / "a.a"))


expect("the good tree", try_tree(GOOD), (0, ""))
for added, said in BREACHES:
    expect(f"with {added}", try_tree({**GOOD, **added}), (1, said + "\n"))
expect("the good texts", try_tree(GOOD_TEXTS, "words.py"), (0, ""))
for added, said in BAD_TEXTS:
    expect(f"with {added}", try_tree({**GOOD_TEXTS, **added}, "words.py"), (1, said + "\n"))
expect("the good library", try_library(GOOD_LIBRARY), (0, ""))
for source, symbol in BAD_LIBRARY:
    code, said = try_library(source)
    expect(f"library {source!r}", (code, symbol in said), (1, True))

if failures:
    sys.exit(f"{failures} of the house checks do not do their work")
print(f"house checks: {len(BREACHES)} breaches of source rules, {len(BAD_TEXTS)} bad texts and "
      f"{len(BAD_LIBRARY)} bad libraries are all found")
