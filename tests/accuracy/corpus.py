#!/usr/bin/python3
"""Lifts every recording of a corpus with truth and prints its scores.

    corpus.py LOWSTRIDE WORK_FOLDER [--shared FOLDER] [--jobs N] [--only PART] [--guess-voice]

The corpus lies in FOLDER/corpus (recordings, and NAME.json with the truth), the scorer is FOLDER/eval/score.py; FOLDER
defaults to $LOWSTRIDE_SHARED, else `shared` beside the repository. Says 'skipped' and exits 77 where they are absent.
The voice that is given to `lift` is the truth's `instrument` unless --guess-voice.
"""
import argparse
import concurrent.futures
import json
import os
import subprocess
import sys


def lift(options, corpus, truth):
    name = truth["name"]
    stem = os.path.join(options.work, name)
    take = stem + ".take"
    if os.path.exists(take):
        os.remove(take)
    voice = [] if options.guess_voice else ["--voice", truth["instrument"]]
    neck = ["--instrument", "guitar" if truth["instrument"] == "guitar" else "bass5"]
    with open(stem + ".log", "w") as log:
        for command in ([options.lowstride, "lift", os.path.join(corpus, truth["file"]), "-o", take] + voice + neck,
                        [options.lowstride, "export", take, "--format", "tables", "-o", stem]):
            if subprocess.run(command, stdout=log, stderr=log).returncode != 0:
                return name
    return None


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("lowstride")
    words.add_argument("work")
    here = os.path.dirname(os.path.abspath(__file__))
    words.add_argument("--shared", default=os.environ.get("LOWSTRIDE_SHARED", os.path.join(here, "../../../shared")))
    words.add_argument("--jobs", type=int, default=os.cpu_count())
    words.add_argument("--only", default="")
    words.add_argument("--guess-voice", action="store_true")
    options = words.parse_args()
    corpus, scorer = os.path.join(options.shared, "corpus"), os.path.join(options.shared, "eval", "score.py")
    if not os.path.isdir(corpus) or not os.path.isfile(scorer):
        print("skipped: no corpus at " + os.path.normpath(corpus))
        return 77
    os.makedirs(options.work, exist_ok=True)
    truths = []
    for file in sorted(os.listdir(corpus)):
        if file.endswith(".json") and options.only in file:
            with open(os.path.join(corpus, file)) as text:
                truths.append({"name": file[:-5], **json.load(text)})
    with concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
        failed = [name for name in pool.map(lambda t: lift(options, corpus, t), truths) if name]
    for name in failed:
        print("failed: " + name)
    subprocess.run([sys.executable, scorer, "--truth", corpus, "--est", options.work, "--clips", "--only", options.only,
                    "--json", os.path.join(options.work, "scores.json")], check=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
