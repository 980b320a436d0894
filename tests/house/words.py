#!/usr/bin/env python3
"""One word for one thing, in the texts that people read.

    words.py [ROOT]

Looks through the texts of data and the string literals of some folders of src for words that have
a plainer one, through data for sentences that are too long, and at how many years of school the
texts for owners ask for. Prints each as `file:line: what` and exits 1 if there is one. A text is
what has a space in it: ids and keys have none.
"""
import json
import pathlib
import re
import sys

from source_rules import NOT_CODE, line_of

# Folders of src whose texts are held to the list.
FOLDERS = ["vocabulary", "drawings", "decide", "diagnose", "report", "plan", "onset", "outcomes", "noise", "form", "guide", "page",
           "compare", "cli"]

LONGEST = 25  # words in a sentence of data
SCHOOL_YEARS = 6  # that a file's texts for owners may ask for

# Members of the rule data that an owner or a buyer reads.
FOR_OWNERS = {"owner_text", "owner_meaning", "owner_summary", "buyer_text", "plain", "drive",
              "drive_quiet", "trial", "charge", "charging", "stop", "carried"}

# (what is refused, what to write). A plural or an ending of a verb goes with each word.
WORDS = [(re.compile(rf"\b(?:{pattern})\b", re.IGNORECASE), instead) for pattern, instead in [
    (r"(un)?hurt(s|ing)?", "damage, damaged; injure, of people"),
    (r"harm(s|ed|ing|ful)?", "damage"),
    (r"mend(s|ed|ing)?", "repair"),
    (r"renew(s|ed|ing|als?)?", "replace"),
    (r"reseal(s|ed|ing)?", "replace the seal"),
    (r"rerout(e|es|ed|ing)", "bypass"),
    (r"casings?", "housing"),
    (r"makers?", "manufacturer"),
    (r"shops?", "workshop"),
    (r"(tele|smart)phones?", "phone"),
    (r"news", "finding"),
    (r"(a|the|good|bad|no) signs?", "finding"),
    (r"at least (grade )?[A-D]", "no better than B"),
    (r"sounds?", "good, of health; noise, of what is heard"),
    (r"sings?", "make a tone"),
    (r"(dried|liquid) tracks|tide marks", "dried residue"),
    (r"cooling lines?", "coolant line"),
    (r"(a|an|the|that|one|each|every|next|last|first|earlier|clean|dry|wet|short) looks?",
     "port check; recheck, for the next"),
    (r"speaks? (for|against)", "point to"),
    (r"frost (scale|point)", "freezing point"),
    (r"(winding|unit) parted|part winding", "disconnect"),
    (r"complaints?", "error, warning"),
]]

# What is meant where a word of the list stands.
ALLOWED = re.compile("|".join([
    "uncompressed sound",  # how a recorder saves
    "no sign of damage",   # what grade A means, word for word the same everywhere
]), re.IGNORECASE)

# Values that are no texts: conditions, and sources, which quote titles of others.
NO_TEXT = {"when", "unless", "source"}

JSON_STRING = re.compile(r'"(?:\\.|[^"\\])*"')
SENTENCE_END = re.compile(r"(?<!\b[a-z]\.[a-z])[.!?](?=\s|$)")


def data_texts(path):
    """Each text of a JSON file with its line; a file may hold it more than once."""
    texts = set()

    def walk(node, key=""):
        if isinstance(node, dict):
            for name, value in node.items():
                if name not in NO_TEXT:
                    walk(value, name)
        elif isinstance(node, list):
            for value in node:
                walk(value, key)
        elif isinstance(node, str) and " " in node:
            texts.add(node)

    content = path.read_text(encoding="utf-8")
    walk(json.loads(content))
    for found in JSON_STRING.finditer(content):
        if json.loads(found[0]) in texts:
            yield line_of(content, found.start()), json.loads(found[0])


def source_texts(path):
    """Each text of a source with its line; literals that follow each other are one."""
    content = path.read_text(encoding="utf-8")
    text, line, end = "", 0, 0
    for found in NOT_CODE.finditer(content):
        literal = found[0]
        if content[end:found.start()].strip():
            if " " in text:
                yield line, text
            text = ""
        if literal.startswith(('"', 'R"')):
            line = line if text else line_of(content, found.start())
            text += literal[literal.index("(") + 1:-2] if literal[0] == "R" else literal[1:-1]
        end = found.end()
    if " " in text:
        yield line, text


def wrong_words(text):
    allowed = [found.span() for found in ALLOWED.finditer(text)]
    for pattern, instead in WORDS:
        for found in pattern.finditer(text):
            if not any(begin <= found.start() and found.end() <= end for begin, end in allowed):
                yield f'"{found[0]}": write {instead}'


def long_sentences(text):
    for sentence in SENTENCE_END.split(text):
        words = [word for word in sentence.split() if re.search(r"\w", word)]
        if len(words) > LONGEST:
            yield f'a sentence of {len(words)} words: "{" ".join(words[:6])} ..."'


def members(node, wanted, inside=False):
    """Texts of the members that are wanted, whatever holds them."""
    if isinstance(node, dict):
        for name, value in node.items():
            yield from members(value, wanted, name in wanted)
    elif isinstance(node, list):
        for value in node:
            yield from members(value, wanted, inside)
    elif inside and isinstance(node, str):
        yield node


def syllables(word):
    """Groups of vowels, less a silent e at the end: near enough for an average."""
    groups = re.findall(r"[aeiouy]+", word.lower())
    silent = word.lower().endswith("e") and not word.lower().endswith("le")
    return max(1, len(groups) - (silent and len(groups) > 1))


def school_years(texts):
    """The grade level of J. P. Kincaid and others, 1975 (Naval Technical Training, Research Branch
    Report 8-75), its coefficients from memory."""
    sentences = [s for text in texts for s in SENTENCE_END.split(text) if re.search(r"\w", s)]
    words = [w for s in sentences for w in re.findall(r"[A-Za-z]+", s)]
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def breaches(root):
    for path in sorted((root / "data" / "rules").glob("*.json")):
        texts = list(members(json.loads(path.read_text(encoding="utf-8")), FOR_OWNERS))
        if texts and (years := school_years(texts)) > SCHOOL_YEARS:
            yield f"{path.relative_to(root)}:1: texts for owners ask for {years:.1f} years of school"
    for path in sorted((root / "data").rglob("*.json")):
        for line, text in data_texts(path):
            for what in [*wrong_words(text), *long_sentences(text)]:
                yield f"{path.relative_to(root)}:{line}: {what}"
    for folder in FOLDERS:
        for path in sorted((root / "src" / folder).rglob("*.cpp")):
            for line, text in source_texts(path):
                for what in wrong_words(text):
                    yield f"{path.relative_to(root)}:{line}: {what}"


def main():
    root = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else ".").resolve()
    found = sorted(set(breaches(root)))
    for line in found:
        print(line)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
