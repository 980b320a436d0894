#!/usr/bin/env python3
"""The library never prints, ends the program, or reads clock, locale or environment.

    library_symbols.py LIBRARY.a

Looks at what the compiled library asks of others, so that nothing slips past by way of a macro or
a header. Exits 1 and names object file and symbol if it asks for something that it must not use.
"""
import re
import subprocess
import sys

FORBIDDEN = re.compile(
    r"(_exit|exit|_Exit|quick_exit|abort"
    r"|getenv|secure_getenv"
    r"|time|gettimeofday|clock_gettime|std::chrono::_V2::\w+_clock::now\(\)"
    r"|localtime(_r)?|gmtime(_r)?|mktime|strftime|tzset"
    r"|setlocale|std::locale::global\(.*\)"
    r"|(v|__)?v?printf(_chk)?|puts|putchar|perror|stdout|stderr"
    r"|std::w?(cout|cerr|clog|cin)|fmt::v\d+::v?print\(.*\)"
    r"|rand|random|std::random_device::.*)")


def main():
    library = sys.argv[1]
    listing = subprocess.run(["nm", "-C", library], check=True, capture_output=True,
                             text=True).stdout
    member, defined, found = "", 0, []
    for line in listing.splitlines():
        if line.endswith(".o:"):
            member = line[:-1]
            continue
        symbol = re.fullmatch(r"[0-9a-f ]* ([A-Za-z]) (.*)", line)
        if symbol is None:
            continue
        kind, name = symbol[1], re.sub(r"\[abi:\w+\]|@.*$", "", symbol[2])
        defined += kind == "T"
        if kind in "Uw" and FORBIDDEN.fullmatch(name):
            found.append(f"{member}: uses {name}")
    if defined == 0:
        found.append(f"{library} defines no function")
    for line in found:
        print(line)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
