"""Do the sheets write notes where they belong? Share of notes whose written place is the true one.

usage: rhythm.py LOWSTRIDE WORK_FOLDER REPOSITORY [--corpus [FOLDER]]

The demo and two lines rendered here by fluidsynth with the swing that is stated, and with --corpus the clips with a known swing
of the corpus in FOLDER (or $LOWSTRIDE_SHARED, or ../shared beside the repository). The place of a note is its bar, beat and
share of the beat; the written one is taken from the quantised MIDI file and the take's own beats, the true one from the truth's
onsets and beats. They agree when they are an eighth of a beat apart at most: a swung eighth and an even one, a triplet's third
and a half are a sixth apart, and basses lag by up to a tenth of a beat on some recordings. Every bar must be full (checked in the MusicXML). Floor: 95 % in each group.
Exit 1 below it."""
import bisect
import json
import os
import random
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree

import mido

TOLERANCE_BEATS = 1 / 8
FLOOR = 0.95
FONT = "/usr/share/sounds/sf2/TimGM6mb.sf2"


def rows(path):
    with open(path) as lines:
        return [line.rstrip("\n").split("\t") for line in lines][1:]


def place(beats, time):
    """Beats since the first of bar 1, with fraction; `beats`: (time, number since bar 1)."""
    times = [t for t, _ in beats]
    i = min(max(bisect.bisect_right(times, time) - 1, 0), len(beats) - 2)
    share = (time - times[i]) / (times[i + 1] - times[i])
    return beats[i][1] + share


def numbered(beats, per_bar):
    return [(t, (bar - 1) * per_bar + beat - 1) for t, bar, beat in beats]


def full_bars(path):
    """Whether the durations of each staff add up to the bar."""
    root = xml.etree.ElementTree.parse(path).getroot()
    divisions = int(root.find(".//divisions").text)
    beats = int(root.find(".//time/beats").text)
    for measure in root.iter("measure"):
        time = measure.find("attributes/time/beats")
        beats = int(time.text) if time is not None else beats
        sums = {}
        for note in measure.iter("note"):
            staff = note.find("staff").text
            sums[staff] = sums.get(staff, 0) + int(note.find("duration").text)
        is_short = measure.get("implicit") == "yes"
        if any(total != beats * divisions and not is_short for total in sums.values()) or len(set(sums.values())) > 1:
            return False
    return True


def judge(lowstride, take, work, true_beats, true_onsets, per_bar):
    """(right, notes) of the true onsets that the take has within 80 ms."""
    subprocess.run([lowstride, "export", take, "--format", "midi", "--quantised", "-o", work + ".mid"], check=True, capture_output=True)
    subprocess.run([lowstride, "export", take, "--format", "tables", "-o", work], check=True, capture_output=True)
    subprocess.run([lowstride, "export", take, "--format", "musicxml", "-o", work + ".musicxml"], check=True, capture_output=True)
    if not full_bars(work + ".musicxml"):
        print(work, "has a bar that is not full")
        return 0, len(true_onsets)
    written = sorted(t for t, message in timed(work + ".mid") if message.type == "note_on" and message.velocity > 0)
    played = [float(row[0]) for row in rows(work + ".notes.tsv")]
    if len(written) != len(played):
        print(work, f"writes {len(written)} of {len(played)} notes")
    own = numbered([(float(t), int(bar), int(beat)) for t, bar, beat in rows(work + ".beats.tsv")], per_bar)
    true = numbered(true_beats, per_bar)
    right = count = 0
    for onset in true_onsets:
        near = [k for k, t in enumerate(played) if abs(t - onset) <= 0.08]
        if not near or len(written) != len(played):
            continue  # not heard: that is scored elsewhere
        k = min(near, key=lambda k: abs(played[k] - onset))
        count += 1
        right += abs(place(own, written[k]) - place(true, onset)) <= TOLERANCE_BEATS
    return right, max(count, 1)


def timed(path):
    song, seconds = mido.MidiFile(path), 0.0
    for message in song:
        seconds += message.time
        yield seconds, message


def lift(lowstride, sound, take, words=()):
    subprocess.run([lowstride, "lift", sound, "-o", take, *words], check=True, capture_output=True)


def demo(lowstride, work, repository):
    script = open(os.path.join(repository, "samples", "render_demo.py")).read()
    period = 60.0 / int(re.search(r"^TEMPO_BPM = (\d+)", script, re.M).group(1))
    first = period * int(re.search(r"^COUNT_IN_BEATS = (\d+)", script, re.M).group(1))
    truth = [float(row[0]) for row in rows(os.path.join(repository, "samples", "ferry-slip.truth.tsv"))]
    take = os.path.join(work, "ferry-slip.take")
    lift(lowstride, os.path.join(repository, "samples", "ferry-slip.ogg"), take)
    beats = [(first + k * period, k // 4 + 1, k % 4 + 1) for k in range(26 * 4)]
    return judge(lowstride, take, os.path.join(work, "demo"), beats, truth, 4)


def rendered(lowstride, work, seed, swing, bpm):
    """A walk in F with skips and triplets, bass alone, its places known exactly."""
    chance, period = random.Random(seed), 60.0 / bpm
    late = swing / (1 + swing)
    notes, pitch = [], 41
    for beat in range(64):
        cut = chance.choice([[0.0]] * 6 + [[0.0, late]] * 4 + [[0.0, 1 / 3, 2 / 3]])
        for k, share in enumerate(cut):
            pitch = min(max(pitch + chance.choice([-4, -3, -2, -1, 1, 2, 3, 4]), 29), 50)
            end = cut[k + 1] if k + 1 < len(cut) else 1.0
            notes.append((0.5 + (beat + share) * period + chance.gauss(0, 0.006), 0.5 + (beat + end - 0.08) * period, pitch))
    song, track = mido.MidiFile(type=1, ticks_per_beat=960), mido.MidiTrack()
    song.tracks.append(track)
    track.append(mido.Message("program_change", program=33))
    events, now = sorted([(a, 1, n) for a, _, n in notes] + [(b, 0, n) for _, b, n in notes]), 0
    for time, on, n in events:
        tick = max(now, round(time * 1920))
        track.append(mido.Message("note_on", note=n, velocity=95 if on else 0, time=tick - now))
        now = tick
    stem = os.path.join(work, f"swing-{swing}")
    song.save(stem + ".source.mid")
    subprocess.run(["fluidsynth", "-ni", "-q", "-F", stem + ".wav", "-r", "44100", "-R", "0", "-C", "0", FONT, stem + ".source.mid"],
                   check=True, capture_output=True)
    lift(lowstride, stem + ".wav", stem + ".take", ["--tempo", str(bpm), "--first-bar", "0.5"])
    beats = [(0.5 + k * period, k // 4 + 1, k % 4 + 1) for k in range(65)]
    return judge(lowstride, stem + ".take", stem, beats, [a for a, _, _ in notes], 4)


def main():
    lowstride, work, repository = sys.argv[1:4]
    shared = sys.argv[5] if len(sys.argv) > 5 else os.environ.get("LOWSTRIDE_SHARED", os.path.join(repository, "..", "shared"))
    shutil.rmtree(work, ignore_errors=True)
    os.makedirs(work)
    groups = {"demo": [demo(lowstride, work, repository)]}
    groups["rendered"] = [rendered(lowstride, work, 1, 1.5, 120), rendered(lowstride, work, 2, 2.5, 104)]
    folder = os.path.join(shared, "corpus")
    if "--corpus" in sys.argv and os.path.isdir(folder):
        for name in sorted(os.listdir(folder)):
            if not name.endswith(".json"):
                continue
            truth = json.load(open(os.path.join(folder, name)))
            if not truth.get("swing") or not truth.get("bass") or not truth.get("beats"):
                continue
            take = os.path.join(work, name[:-5] + ".take")
            lift(lowstride, os.path.join(folder, truth["file"]), take)
            beats = [(b["t"], b["bar"], b["beat"]) for b in truth["beats"]]
            per_bar = int(truth["time_signature"].split("/")[0])
            result = judge(lowstride, take, take[:-5], beats, [n["onset"] for n in truth["bass"] if not n.get("ghost")], per_bar)
            print(f"{name[:-5]:36} swing {truth['swing']}: {result[0]} of {result[1]}")
            groups.setdefault("corpus", []).append(result)
    elif "--corpus" in sys.argv:
        print("corpus: skipped, there is none in", folder)
    failed = 0
    for name, results in groups.items():
        share = sum(a for a, _ in results) / sum(b for _, b in results)
        print(f"{name}: {share:.3f} of {sum(b for _, b in results)} notes stand where they belong")
        failed += share < FLOOR
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
