#!/usr/bin/env python3
"""How heavy Lowstride gets with what is large: processor time and memory of each step, held against stated bounds.

    scale.py LOWSTRIDE FOLDER notes|folder|channels|passages|hours [HOURS]

notes     a take of 100,000 notes (five and a half hours): read, edit, finger, export, compare, list
folder    2,000 takes: list, drill the folder, drill --due
channels  a minute of eight channels at 192 kHz: slow, lift
passages  a take with 100 passages: made, listed, one of them slowed
hours     a recording of HOURS (default 6): lifted, shown, slowed in the middle

Processor time is the process's own and its children's (user and system), so that a busy machine changes little; memory is the
highest resident set of any one process. The bounds are for one core of a machine of the 2020s and leave room of two to three; the
memory bounds are promises.
"""
import os
import pathlib
import random
import shutil
import struct
import subprocess
import sys

LENGTH_OF_NOTE = 0.2


class Measures:
    def __init__(self, lowstride, folder):
        self.lowstride = lowstride
        self.folder = folder
        self.wrong = []
        self.environment = dict(os.environ, LANG="C.UTF-8", XDG_CACHE_HOME=str(folder / "cache"),
                                XDG_DATA_HOME=str(folder / "data"), XDG_CONFIG_HOME=str(folder / "config"),
                                XDG_STATE_HOME=str(folder / "state"))

    def run(self, what, words, seconds, megabytes, typed=""):
        """Runs the command; fails the whole where it fails. Returns what it printed."""
        paper = self.folder / "printed"
        with open(paper, "w", encoding="utf-8") as out, open(self.folder / "typed", "w+", encoding="utf-8") as given:
            given.write(typed)
            given.flush()
            given.seek(0)
            process = subprocess.Popen([self.lowstride, *words], cwd=self.folder, stdin=given, stdout=out,
                                       stderr=subprocess.STDOUT, env=self.environment)
            _, status, usage = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
        printed = paper.read_text(encoding="utf-8")
        used_seconds = usage.ru_utime + usage.ru_stime
        used_megabytes = usage.ru_maxrss / 1024.0
        mark = ""
        if process.returncode != 0:
            mark = f"  FAILED with {process.returncode}: {printed[-300:]}"
        elif used_seconds > seconds or used_megabytes > megabytes:
            mark = "  OVER ITS BOUND"
        if mark:
            self.wrong.append(what)
        print(f"{what:<44} {used_seconds:8.2f} s of {seconds:6.0f}  {used_megabytes:6.0f} MB of {megabytes:5.0f}{mark}", flush=True)
        return printed

    def expect(self, what, is_so):
        if not is_so:
            self.wrong.append(what)
            print(f"FAILED: {what}", flush=True)


def write_tables(folder, stem, note_count, seed):
    """A line over a walk of chords, a note every LENGTH_OF_NOTE seconds, two a beat, four beats a bar."""
    dice = random.Random(seed)
    with open(folder / f"{stem}.notes.tsv", "w", encoding="utf-8") as file:
        file.write("onset_s\toffset_s\tmidi\n")
        midi = 40
        for i in range(note_count):
            midi = min(55, max(28, midi + dice.choice([-4, -3, -2, -1, 1, 2, 3, 4])))
            file.write(f"{i * LENGTH_OF_NOTE:.3f}\t{(i + 1) * LENGTH_OF_NOTE - 0.01:.3f}\t{midi}\n")
    beat_count = note_count // 2 + 1
    with open(folder / f"{stem}.beats.tsv", "w", encoding="utf-8") as file:
        file.write("time_s\tbar\tbeat\n")
        for i in range(beat_count):
            file.write(f"{2 * i * LENGTH_OF_NOTE:.3f}\t{i // 4 + 1}\t{i % 4 + 1}\n")
    with open(folder / f"{stem}.chords.lab", "w", encoding="utf-8") as file:
        roots = ["C", "A", "D", "G", "F", "Bb", "E", "Eb"]
        bar = 8 * LENGTH_OF_NOTE
        for i in range(note_count // 8):
            file.write(f"{i * bar:.3f}\t{(i + 1) * bar:.3f}\t{roots[dice.randrange(8)]}:7\n")


def write_wav(path, rate_hz, channel_count, seconds):
    """Plucked tones, in the WAV form of 16 bits: a new pitch twice a second, each channel a little later."""
    import numpy as np
    block = np.arange(rate_hz) / rate_hz
    dice = random.Random(1)
    data_bytes = rate_hz * channel_count * 2 * seconds
    with open(path, "wb") as file:
        file.write(b"RIFF" + struct.pack("<I", 36 + data_bytes) + b"WAVEfmt " +
                   struct.pack("<IHHIIHH", 16, 1, channel_count, rate_hz, rate_hz * channel_count * 2, channel_count * 2, 16) +
                   b"data" + struct.pack("<I", data_bytes))
        sounds = {}
        for _ in range(seconds):
            chosen = (dice.randrange(28, 50), dice.randrange(28, 50))
            if chosen not in sounds:
                sound = np.zeros(rate_hz)
                for half, midi in enumerate(chosen):
                    begin = half * rate_hz // 2
                    time = block[:rate_hz - begin]
                    hz = 440.0 * 2.0 ** ((midi - 69) / 12.0)
                    for k in range(1, 8):
                        sound[begin:] += np.sin(2 * np.pi * hz * k * time) * np.exp(-4.0 * time) / k
                # The end fades, so that seconds can stand beside one another.
                sound[-rate_hz // 50:] *= np.linspace(1.0, 0.0, rate_hz // 50)
                channels = np.stack([np.roll(sound, 40 * c) for c in range(channel_count)], axis=1)
                sounds[chosen] = (channels * 6000.0).astype("<i2").tobytes()
            file.write(sounds[chosen])


def notes(measure):
    count = 100_000
    write_tables(measure.folder, "long", count, 7)
    measure.run("read 100,000 notes", ["read", "long.notes.tsv", "-o", "long.take"], 30, 700)
    measure.expect("all notes are read", len((measure.folder / "long.take").read_bytes()) > count * 20)
    measure.run("edit one note, save", ["edit", "long.take", "--set-note", "b6000:2=E2"], 30, 600)
    measure.run("finger", ["finger", "long.take", "--position", "open"], 60, 700)
    for form, seconds in (("text", 30), ("musicxml", 60), ("midi", 15), ("tables", 150)):
        measure.run(f"export {form}", ["export", "long.take", "--format", form, "-o", f"out.{form}"], seconds, 900)
    measure.run("export pdf", ["export", "long.take", "--format", "pdf", "-o", "out.pdf"], 240, 1500)
    measure.run("export pdf of twelve bars", ["export", "long.take", "--format", "pdf", "--bars", "6000-6012", "-o", "part.pdf"], 30, 700)
    measure.run("compare with itself", ["compare", "long.take", "long.take", "--scores"], 60, 900)
    printed = measure.run("list", ["list", "."], 15, 500)
    measure.expect("the list counts them", f" {count} " in printed or f" {count - 1} " in printed)


def folder(measure):
    count = 2000
    (measure.folder / "takes").mkdir()
    for i in range(20):
        write_tables(measure.folder, f"line{i}", 400, i)
        measure.lowstride_quiet(["read", f"line{i}.notes.tsv", "-o", f"takes/line{i:04}.take"])
    # The same lines under other titles are other takes.
    for i in range(20, count):
        text = (measure.folder / "takes" / f"line{i % 20:04}.take").read_text(encoding="utf-8")
        text = text.replace(f'"line{i % 20}"', f'"line{i}"', 1)
        (measure.folder / "takes" / f"line{i:04}.take").write_text(text, encoding="utf-8")
    printed = measure.run("list 2,000 takes", ["list", "takes"], 20, 100)
    measure.expect("2,000 rows and a heading", len(printed.splitlines()) == count + 1)
    # Twelve items are begun and given up, so that something is due.
    answers = "\n" + "!\n\n" * 14 + "q\n"
    printed = measure.run("drill 2,000 takes, the first time", ["drill", "takes", "--silent"], 40, 250, answers)
    measure.expect("a million items could be asked", int(printed.split(" due, ")[1].split(" new")[0]) > 500_000)
    printed = measure.run("drill --due over 2,000 takes", ["drill", "--due", "--silent"], 10, 120, "q\n")
    measure.expect("what was given up is there", printed.startswith("12 due, 0 new.") or " 0 new." in printed.splitlines()[0])
    measure.run("drill them again, with a history", ["drill", "takes", "--due", "--silent"], 40, 250, "q\n")
    measure.run("list 2,000 takes with a history", ["list", "takes"], 20, 100)


def channels(measure):
    write_wav(measure.folder / "wide.wav", 192_000, 8, 60)
    measure.run("slow a minute of 8 channels at 192 kHz", ["slow", "wide.wav", "--speed", "50%", "-o", "half.wav"], 300, 500)
    measure.expect("two minutes of eight channels came out", (measure.folder / "half.wav").stat().st_size > 350_000_000)
    (measure.folder / "half.wav").unlink(missing_ok=True)
    measure.run("lift it", ["lift", "wide.wav"], 60, 400)


def passages(measure):
    write_tables(measure.folder, "line", 8000, 3)
    measure.lowstride_quiet(["read", "line.notes.tsv", "-o", "line.take"])
    words = ["edit", "line.take"]
    for i in range(100):
        words += ["--passage", f"part {i}=b{9 * i + 1}..b{9 * i + 9}"]
    measure.run("name 100 passages", words, 10, 200)
    text = (measure.folder / "line.take").read_text(encoding="utf-8")
    measure.expect("all are in the take", all(f'"part {i}"' in text for i in range(100)))
    measure.run("print one", ["export", "line.take", "--format", "text", "--passage", "part 77", "-o", "part.txt"], 5, 200)
    measure.run("slow one", ["slow", "line.take", "--passage", "part 77", "--speed", "50%", "--no-recording", "--with", "line",
                             "-o", "part.ogg"], 10, 200)
    measure.run("list", ["list", "."], 5, 200)


def hours(measure, count):
    rate = 22_050
    write_wav(measure.folder / "evening.wav", rate, 1, int(count * 3600))
    # A lift takes about an eightieth of the recording's length. It holds all evidence at once, 40 MB an hour, and half as much again
    # while it reads it: 60 MB an hour over 88 MB were measured (449 MB for six hours, 105 MB for 0.3).
    printed = measure.run(f"lift {count:g} hours", ["lift", "evening.wav"], count * 3600 / 30, 150 + 80 * count)
    measure.expect("two notes a second were found", printed.count("\n") > count * 500)
    measure.run("export tables", ["export", "evening.take", "--format", "tables", "-o", "evening"], 10 * count + 5, 250 + 50 * count)
    found = len((measure.folder / "evening.notes.tsv").read_text(encoding="utf-8").splitlines()) - 1
    measure.expect(f"{found} notes of {count * 7200:.0f} are near enough", abs(found - count * 7200) < 0.1 * count * 7200)
    middle = count * 1800
    measure.run("slow ten seconds in the middle", ["slow", "evening.take", "--speed", "50%", "--from", f"{middle:.0f}", "--to",
                                                   f"{middle + 10:.0f}", "-o", "ten.wav"], 30, 250 + 50 * count)
    measure.run("edit one note, save", ["edit", "evening.take", "--confirm", f"{middle:.0f}..{middle + 10:.0f}"], 20 + 5 * count, 250 + 80 * count)


def quiet(measure):
    def run(words):
        subprocess.run([measure.lowstride, *words], cwd=measure.folder, env=measure.environment, check=True,
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return run


def main():
    if len(sys.argv) < 4:
        sys.exit(__doc__)
    work = pathlib.Path(sys.argv[2]).absolute() / sys.argv[3]
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    measure = Measures(os.path.abspath(sys.argv[1]), work)
    measure.lowstride_quiet = quiet(measure)
    steps = {"notes": notes, "folder": folder, "channels": channels, "passages": passages,
             "hours": lambda m: hours(m, float(sys.argv[4]) if len(sys.argv) > 4 else 6.0)}
    try:
        steps[sys.argv[3]](measure)
    finally:
        # Gigabytes of sound are of no use to anybody afterwards.
        for path in work.rglob("*.wav"):
            path.unlink()
    if measure.wrong:
        sys.exit("FAILED: " + "; ".join(measure.wrong))


main()
