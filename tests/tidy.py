#!/usr/bin/env python3
"""Runs clang-tidy on source files, all at once on the machine's cores, and remembers what was clean.

  tidy.py BUILD [FILE …]      the files named, or every .cpp that git knows

A file is looked at again when it, a header that it includes, its compile command, the rules or clang-tidy itself has changed since it was found
clean; the marks lie in BUILD/tidy. Needs a finished build (its compile commands and what ninja knows of headers). Exit 1 when anything is found.
"""
import concurrent.futures
import hashlib
import json
import os
import subprocess
import sys


def known_headers(build):
    """Object file -> the files that it was made from, as ninja noted them; without those whose note is out of date."""
    headers, stale, current = {}, set(), None
    for line in subprocess.run(['ninja', '-C', build, '-t', 'deps'], capture_output=True, text=True, check=True).stdout.splitlines():
        if line.startswith('    '):
            headers[current].append(os.path.normpath(os.path.join(build, line.strip())))
        elif ': #deps' in line:
            current = line.split(': #deps')[0]
            headers[current] = []
            if '(VALID)' not in line:
                stale.add(current)
    return {k: v for k, v in headers.items() if k not in stale}


digests = {}


def digest(path):
    if path not in digests:
        with open(path, 'rb') as f:
            digests[path] = hashlib.sha256(f.read()).digest()
    return digests[path]


def main():
    if len(sys.argv) < 2 or sys.argv[1].startswith('-'):
        sys.exit(__doc__.strip())
    top = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    build = os.path.abspath(sys.argv[1])
    names = sys.argv[2:] or subprocess.run(['git', '-C', top, 'ls-files', '*.cpp'], capture_output=True, text=True, check=True).stdout.split()
    with open(os.path.join(build, 'compile_commands.json')) as f:
        commands = {os.path.normpath(c['file']): c for c in json.load(f)}
    headers = known_headers(build)
    rules = subprocess.run(['clang-tidy', '--version'], capture_output=True, check=True).stdout + digest(os.path.join(top, '.clang-tidy'))
    marks = os.path.join(build, 'tidy')
    os.makedirs(marks, exist_ok=True)

    def mark(path):
        """The file that says that `path` was clean in this state; none when the state is not known."""
        command = commands[path]
        made_of = headers.get(command['command'].split(' -o ')[1].split()[0])
        if not made_of:
            return None
        h = hashlib.sha256(rules + command['command'].replace(top, '').encode())
        for part in sorted(made_of):
            h.update(digest(part))
        return os.path.join(marks, h.hexdigest())

    def look(path):
        out = subprocess.run(['clang-tidy', '--quiet', '-p', build, '--extra-arg=-Wno-unknown-warning-option', path], stdout=subprocess.PIPE,
                             stderr=subprocess.PIPE, text=True, cwd=top)
        return out.returncode, out.stdout, out.stderr

    todo, strangers = {}, []
    for name in names:
        path = os.path.normpath(os.path.join(top, name))
        if path not in commands:
            strangers.append(name)
            continue
        clean = mark(path)
        if clean is None or not os.path.exists(clean):
            todo[path] = clean
    print(f'{len(names) - len(strangers) - len(todo)} files clean as before, {len(todo)} to look at' +
          (f'; not part of this build: {" ".join(strangers)}' if strangers else ''), flush=True)
    faults = 0
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        for path, (code, said, errors) in zip(todo, pool.map(look, todo)):
            if code == 0:
                if todo[path]:
                    open(todo[path], 'w').close()
                continue
            faults += 1
            print(said or errors, flush=True)
    if faults:
        sys.exit(f'clang-tidy: {faults} of {len(todo)} files have faults.')


if __name__ == '__main__':
    main()
