"""What the program and its data say of themselves, so that no test has to list it."""
import os
import re
import subprocess


def said(program, *arguments):
    return subprocess.run([program, *arguments], capture_output=True, check=True, text=True).stdout


def commands(program, path=()):
    """Every command and those below it, from what --help lists."""
    listed = re.search(r"\nCommands:\n(.*?)\n\n", said(program, *path, "--help"), re.S)
    for name in re.findall(r"^  (\S+)", listed[1] if listed else "", re.M):
        yield (*path, name)
        yield from commands(program, (*path, name))


def topics(program):
    listed = re.search(r"\nTopics:\n(.*?)\n\n", said(program, "help"), re.S)
    return re.findall(r"^  (\S+)", listed[1], re.M)


def families():
    """Ids of the families that come with the program, as messages list them."""
    return ", ".join(sorted(name.removesuffix(".json") for name in os.listdir("data/families")))
