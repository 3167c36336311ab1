"""Prints what python3-mido, a reader that is not ours, finds in a Standard MIDI File: one line an
event, with its time in seconds."""
import sys

import mido

midi = mido.MidiFile(sys.argv[1])
print("file", midi.type, len(midi.tracks), midi.ticks_per_beat)
seconds = 0.0
tempo = 500000
for message in mido.merge_tracks(midi.tracks):
    seconds += mido.tick2second(message.time, midi.ticks_per_beat, tempo)
    if message.type == "set_tempo":
        tempo = message.tempo
        print("tempo", f"{seconds:.6f}", tempo)
    elif message.type == "time_signature":
        print("meter", f"{seconds:.6f}", message.numerator, message.denominator)
    elif message.type == "key_signature":
        print("key", message.key)
    elif message.type in ("marker", "cue_marker"):
        print(message.type, f"{seconds:.6f}", message.text)
    elif message.type == "program_change":
        print("program", message.program)
    elif message.type in ("note_on", "note_off"):
        print(message.type, f"{seconds:.6f}", message.note, message.velocity)
    elif message.type == "track_name":
        print("name", message.name)
