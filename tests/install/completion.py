#!/usr/bin/env python3
"""Completion, driven as a player drives it: a real bash, zsh and fish, in which the Tab key is pressed.

    completion.py LOWSTRIDE

A shell that is not installed is said to be skipped; bash must be there.
"""
import os
import pty
import re
import select
import shutil
import subprocess
import sys
import tempfile
import time

# What is typed, and what must stand on the line after Tab (in each shell the same).
CASES = [
    ("lowstride exp", "lowstride export "),
    ("lowstride export tr", "lowstride export trio.take"),
    ("lowstride export trio.take --form", "lowstride export trio.take --format"),
    ("lowstride export trio.take --format mus", "lowstride export trio.take --format musicxml"),
    ("lowstride lift --voice g", "lowstride lift --voice guitar"),
    ("lowstride lift --chords cha", "lowstride lift --chords chart.txt"),
    ("lowstride slow trio.take --ramp 50%..100%:5% -o tri", "lowstride slow trio.take --ramp 50%..100%:5% -o trio.take"),
    ("lowstride list less", "lowstride list lessons/"),
    ("lowstride edit trio.take --set-ch", "lowstride edit trio.take --set-chord"),
]


class Terminal:
    """A shell on a terminal of its own."""

    def __init__(self, words, folder):
        self.process, self.terminal = pty.fork()
        if self.process == 0:
            os.chdir(folder)
            # The rest of the environment could hold completions of whoever runs this.
            environment = {"PATH": os.environ["PATH"], "HOME": folder, "TERM": "dumb", "LANG": "C.UTF-8",
                           "INPUTRC": "/dev/null", "ZDOTDIR": folder, "HISTFILE": "/dev/null"}
            os.execvpe(words[0], words, environment)
        os.set_blocking(self.terminal, False)

    def read_until(self, pattern, seconds=20.0):
        text = ""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if not select.select([self.terminal], [], [], 0.1)[0]:
                continue
            try:
                text += os.read(self.terminal, 65536).decode("utf-8", "replace")
            except OSError:
                break
            if re.search(pattern, text):
                return text
        return None if pattern else text

    def type(self, text):
        os.write(self.terminal, text.encode())

    def run(self, line):
        self.type(line + "; echo do''ne\n")
        if self.read_until("done") is None:
            sys.exit(f"FAILED: the shell does not answer to: {line}")

    def completed(self, typed, wanted):
        """Types, presses Tab, and reads the line as the shell would run it: Ctrl-A puts `echo =` before it."""
        self.type(typed + "\t")
        time.sleep(0.3)
        self.type("\x01echo '<'\x05'>'\n")
        text = self.read_until(r"(?m)^< .*>\s*$|^<.*>\s*$")
        if text is None:
            return "(no answer)"
        return re.findall(r"(?m)^<\s?(.*)>\s*$", text.replace("\r", ""))[-1].rstrip()

    def close(self):
        os.close(self.terminal)
        os.waitpid(self.process, 0)


def check(shell, complete):
    wrong = []
    for typed, wanted in CASES:
        found = complete(typed, wanted)
        # zsh takes the slash of a folder away again at the next space.
        if found.strip().rstrip("/") != wanted.strip().rstrip("/"):
            wrong.append(f"  {typed}<Tab> gave: {found}; wanted: {wanted}")
    if wrong:
        sys.exit(f"FAILED: {shell}\n" + "\n".join(wrong))
    print(f"{shell}: {len(CASES)} completions as wanted")


def main():
    command = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        for name in ("trio.take", "chart.txt"):
            open(os.path.join(folder, name), "w", encoding="utf-8").close()
        os.mkdir(os.path.join(folder, "lessons"))
        scripts = {}
        for shell, name in (("bash", "lowstride"), ("zsh", "_lowstride"), ("fish", "lowstride.fish")):
            os.makedirs(os.path.join(folder, "." + shell))
            scripts[shell] = os.path.join(folder, "." + shell, name)
            with open(scripts[shell], "w", encoding="utf-8") as file:
                subprocess.run([command, "--completion", shell], stdout=file, check=True)

        terminal = Terminal(["bash", "--norc", "--noprofile", "-i"], folder)
        terminal.run(f"source {scripts['bash']}")
        check("bash", terminal.completed)
        terminal.close()

        if shutil.which("zsh"):
            terminal = Terminal(["zsh", "-f", "-i"], folder)
            terminal.run(f"unsetopt zle_bracketed_paste; fpath=({folder}/.zsh $fpath); autoload -U compinit; compinit -u -D; bindkey -e")
            check("zsh", terminal.completed)
            terminal.close()
        else:
            print("skipped: zsh is missing")

        if shutil.which("fish"):
            def fish(typed, wanted):
                result = subprocess.run(
                    ["fish", "--no-config", "-c", f"source {scripts['fish']}; complete -C {typed!r}"], cwd=folder,
                    capture_output=True, text=True, check=False, env={"PATH": os.environ["PATH"], "HOME": folder, "LANG": "C.UTF-8"})
                offers = [line.split("\t")[0] for line in result.stdout.splitlines()]
                last = wanted.split()[-1]
                before = typed.rsplit(" ", 1)[0]
                return f"{before} {last}" if offers == [last] else f"{before} {offers} {result.stderr}"
            check("fish", fish)
        else:
            print("skipped: fish is missing")


main()
