#!/usr/bin/env python3
"""Render the demo recording from the line and the chords written down below.

The scene is invented: the Millrace Trio (bass, piano, brushes) rehearses its own tune "Ferry Slip", a
twelve-bar form in G that goes round by a diminished chord and ends in a turnaround. Two choruses and a
last G; count-in on the sticks; the bass walks, skips, rakes a dead note, plays a triplet and a pedal.

Needs fluidsynth, the fluid-soundfont-gm package (FluidR3 GM, MIT licence), python3-mido and sox:
    samples/render_demo.py            writes samples/ferry-slip.ogg and samples/ferry-slip.truth.tsv
The recording in the repository was made by this script; nobody needs to run it again to use it.
"""
import os
import random
import subprocess
import sys
import tempfile

import mido

FOLDER = os.path.dirname(os.path.abspath(__file__))
FONT = "/usr/share/sounds/sf2/FluidR3_GM.sf2"
TICKS = 480
TEMPO_BPM = 132
SWING = 2.0  # long to short
COUNT_IN_BEATS = 4

CHORUS = [["G7"], ["C7"], ["G7"], ["Dm7", "G7"], ["C7"], ["C#dim7"], ["G7/D"], ["E7"], ["Am7"], ["D7"],
          ["Bm7", "E7"], ["Am7", "D7"]]

# One string a bar; a beat is a MIDI number, "-" (the note before rings on), "." (rest), or several
# notes in one beat: a/b swung eighths, a/b/c a triplet; x marks a dead note.
LINE = """
31 35 38 37 | 36 40 43 42 | 43 41 38 35 | 38 41 31 35 | 36 40 43 45 | 37 40 43/43 39 | 38 43 41 39 | 40 38 35 32 |
33 36 40 39 | 38 36 33/33 34 | 35 38 28 32 | 33 36 38 30 |
31 35/38/41 43 37 | 36 36 43 44 | 43/x43 38 35 37 | 38 41 43 35 | 36 40 43/45 46 | 49 46 43 39 | 38 38 38 38 |
28 32 35/35 34 | 33 35 36 37 | 38 42 45 36 | 35 30 28 32 | 33 36 38 30 | 31 - - .
"""

VOICINGS = {"G7": (53, 57, 59, 64), "C7": (52, 57, 58, 62), "Dm7": (53, 57, 60, 64), "C#dim7": (52, 55, 58, 61),
            "G7/D": (53, 57, 59, 64), "E7": (50, 54, 56, 61), "Am7": (52, 55, 60, 62), "D7": (54, 57, 60, 64),
            "Bm7": (50, 54, 57, 61)}


def beat_time(position):
    """Beats from the count-in's first click to seconds: a tempo that breathes a little."""
    seconds, whole = 0.0, int(position)
    for k in range(whole + 1):
        share = 1.0 if k < whole else position - whole
        bpm = TEMPO_BPM * (1.0 + 0.012 * ((k % 48) / 48.0 - 0.5))
        seconds += share * 60.0 / bpm
    return seconds


def within(beat, fraction):
    """A place in the beat: 0, 1/2 (swung), or thirds of a triplet."""
    return beat + (SWING / (1 + SWING) if fraction == 0.5 else fraction)


def bass_notes():
    notes, beat = [], COUNT_IN_BEATS
    for bar in LINE.replace("\n", " ").split("|"):
        for cell in bar.split():
            if cell == "-":
                notes[-1][1] = beat + 1
            elif cell != ".":
                parts = cell.split("/")
                for k, part in enumerate(parts):
                    begin = within(beat, {1: [0], 2: [0, 0.5], 3: [0, 1 / 3, 2 / 3]}[len(parts)][k])
                    end = beat + 1 if k + 1 == len(parts) else within(
                        beat, {2: [0, 0.5], 3: [0, 1 / 3, 2 / 3]}[len(parts)][k + 1])
                    notes.append([begin, end, int(part.lstrip("x")), part.startswith("x")])
            beat += 1
    return notes, beat


def track(events, program, channel):
    """Absolute (seconds, message) events to a MIDI track at 120 bpm, so that ticks are plain time."""
    out = mido.MidiTrack()
    out.append(mido.Message("program_change", program=program, channel=channel, time=0))
    now = 0
    for seconds, message in sorted(events, key=lambda e: (e[0], e[1].type == "note_on")):
        tick = max(now, round(seconds * 2 * TICKS))
        out.append(message.copy(time=tick - now))
        now = tick
    return out


def note(events, channel, begin, end, midi, velocity):
    events.append((begin, mido.Message("note_on", channel=channel, note=midi, velocity=velocity)))
    events.append((end, mido.Message("note_off", channel=channel, note=midi, velocity=0)))


def main():
    chance = random.Random(20261)
    line, last_beat = bass_notes()
    bass, piano, drums, truth = [], [], [], []
    for begin, end, midi, dead in line:
        start = beat_time(begin) + chance.gauss(0, 0.006)
        stop = start + 0.05 if dead else beat_time(end) - 0.02
        note(bass, 0, start, stop, midi, 46 if dead else chance.randint(84, 104))
        truth.append((start, stop, midi, int(dead)))
    for chorus in range(2):
        for bar, chords in enumerate(CHORUS):
            first = COUNT_IN_BEATS + 4 * (12 * chorus + bar)
            hits = chance.choice([[0, 1.5], [1.5, 3], [0.5, 2], [1, 3.5]]) if len(chords) == 1 else [0, 2.5]
            for hit in hits:
                chord = chords[0 if len(chords) == 1 or hit < 2 else 1]
                at = beat_time(within(first + int(hit), 0.5 if hit % 1 else 0)) + chance.gauss(0, 0.008)
                for pitch in VOICINGS[chord]:
                    note(piano, 1, at, at + chance.choice([0.18, 0.35, 0.6]), pitch, chance.randint(52, 70))
    final = COUNT_IN_BEATS + 96
    for pitch in VOICINGS["G7"]:
        note(piano, 1, beat_time(final), beat_time(final + 3), pitch, 58)
    for beat in range(COUNT_IN_BEATS):
        note(drums, 9, beat_time(beat), beat_time(beat) + 0.1, 37, 96)
    for beat in range(COUNT_IN_BEATS, final):
        at = beat_time(beat)
        note(drums, 9, at, at + 0.2, 51, chance.randint(48, 62))
        if (beat - COUNT_IN_BEATS) % 2 == 1:
            note(drums, 9, at, at + 0.1, 44, 60)
            skip = beat_time(within(beat, 0.5))
            note(drums, 9, skip, skip + 0.1, 51, chance.randint(38, 50))
        if chance.random() < 0.12:
            ghost = beat_time(within(beat, 0.5))
            note(drums, 9, ghost, ghost + 0.1, 38, 30)
    note(drums, 9, beat_time(final), beat_time(final) + 2, 51, 64)

    song = mido.MidiFile(type=1, ticks_per_beat=TICKS)
    song.tracks += [track(bass, 32, 0), track(piano, 0, 1), track(drums, 40, 9)]
    with tempfile.TemporaryDirectory() as work:
        score, raw = os.path.join(work, "demo.mid"), os.path.join(work, "demo.wav")
        song.save(score)
        subprocess.run(["fluidsynth", "-ni", "-q", "-F", raw, "-r", "44100", "-g", "0.9", "-R", "1", "-C", "0", FONT,
                        score], check=True)
        length = beat_time(last_beat) + 1.0
        subprocess.run(["sox", raw, "-C", "5", os.path.join(FOLDER, "ferry-slip.ogg"), "trim", "0", f"{length:.3f}",
                        "fade", "t", "0", f"{length:.3f}", "0.8", "norm", "-3"], check=True)
    with open(os.path.join(FOLDER, "ferry-slip.truth.tsv"), "w") as out:
        out.write("onset_s\toffset_s\tmidi\tdead\n")
        for row in sorted(truth):
            out.write("{:.4f}\t{:.4f}\t{}\t{}\n".format(*row))


if __name__ == "__main__":
    sys.exit(main())
