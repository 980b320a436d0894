"""What the program and its data say of themselves, so that no test has to list it."""
import os
import pathlib
import re
import shutil
import subprocess


def said(program, *arguments):
    return subprocess.run([program, *arguments], capture_output=True, check=True, text=True).stdout


def commands(program, path=()):
    """Every command and those below it, from what --help lists."""
    for name in below(program, path):
        yield (*path, name)
        yield from commands(program, (*path, name))


def below(program, path):
    """Names of the commands below one; the program lists them under what they are for."""
    text = said(program, *path, "--help")
    if path:
        listed = re.search(r"\nCommands:\n(.*?)\n\n", text, re.S)
        return re.findall(r"^  (\S+)", listed[1] if listed else "", re.M)
    groups = text.split("\nOptions:\n")[0].split("\n\n")
    lists = [group for group in groups if re.match(r"[A-Z][^:\n]*:\n  [a-z]+ ", group)]
    return list(dict.fromkeys(re.findall(r"^  ([a-z]+) ", "\n".join(lists), re.M)))


def topics(program):
    listed = re.search(r"\nTopics:\n(.*?)\n\n", said(program, "help"), re.S)
    return re.findall(r"^  (\S+)", listed[1], re.M)


def families():
    """Ids of the families that come with the program, as messages list them."""
    return ", ".join(sorted(name.removesuffix(".json") for name in os.listdir("data/families")))


def own_rules(folder, *edits, id="harrow-lane"):
    """A copy of the shipped rules under an id of its own, with texts (file, from, to) replaced."""
    shutil.copytree("data/rules", folder)
    for name, before, after in (("rules.json", '"id": "dryshaft-shipped"', f'"id": "{id}"'), *edits):
        path = pathlib.Path(folder, name)
        text = path.read_text(encoding="utf-8")
        assert before in text, before
        path.write_text(text.replace(before, after), encoding="utf-8")
    return str(folder)
