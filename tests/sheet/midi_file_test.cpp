#include <unistd.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "src/notation/read.hpp"
#include "src/sheet/export.hpp"
#include "tests/sheet/example_takes.hpp"

namespace lowstride::sheet {
namespace {

namespace fs = std::filesystem;

struct ReadNote {
  double onset_seconds = 0.0;
  double offset_seconds = 0.0;
  int midi = 0;
  int velocity = 0;
};

struct ReadEvent {
  double seconds = 0.0;
  std::string text;
};

/// A file as an independent reader (python3-mido) sees it.
struct ReadBack {
  std::string file_line;
  std::string key;
  int program = -1;
  std::vector<ReadNote> notes;
  std::vector<ReadEvent> markers;
  std::vector<ReadEvent> cues;
  std::vector<ReadEvent> meters;
  std::vector<ReadEvent> tempos;
  bool has_reader = false;
};

ReadBack read_back(const take::Take& take) {
  std::string pattern = (fs::temp_directory_path() / "lowstride-midi-XXXXXX").string();
  EXPECT_NE(::mkdtemp(pattern.data()), nullptr);
  const fs::path path = fs::path(pattern) / "line.mid";
  EXPECT_TRUE(export_midi(take, path));
  const fs::path lines = fs::path(pattern) / "lines";
  // Debian's own interpreter is the one that has Debian's python3-mido.
  const std::string command = "/usr/bin/python3 '" + std::string(LOWSTRIDE_MIDI_READER) + "' '" +
                              path.string() + "' >'" + lines.string() + "' 2>&1";
  ReadBack back;
  back.has_reader = std::system("/usr/bin/python3 -c 'import mido' 2>/dev/null") == 0;
  if (!back.has_reader) {
    fs::remove_all(pattern);
    return back;
  }
  const int status = std::system(command.c_str());
  std::ifstream stream(lines);
  for (std::string line; std::getline(stream, line);) {
    std::istringstream words(line);
    std::string kind;
    words >> kind;
    if (kind == "file") {
      back.file_line = line;
    } else if (kind == "key") {
      words >> back.key;
    } else if (kind == "program") {
      words >> back.program;
    } else if (kind == "note_on" || kind == "note_off") {
      double seconds = 0.0;
      int midi = 0;
      int velocity = 0;
      words >> seconds >> midi >> velocity;
      if (kind == "note_on") {
        back.notes.push_back({seconds, 0.0, midi, velocity});
      } else {
        EXPECT_FALSE(back.notes.empty());
        EXPECT_EQ(back.notes.back().midi, midi);
        back.notes.back().offset_seconds = seconds;
      }
    } else {
      ReadEvent event;
      words >> event.seconds >> std::ws;
      std::getline(words, event.text);
      if (kind == "marker") back.markers.push_back(event);
      if (kind == "cue_marker") back.cues.push_back(event);
      if (kind == "meter") back.meters.push_back(event);
      if (kind == "tempo") back.tempos.push_back(event);
    }
    if (status != 0) ADD_FAILURE() << line;
  }
  EXPECT_EQ(status, 0);
  fs::remove_all(pattern);
  return back;
}

void expect_notes(const take::Take& take, const ReadBack& back) {
  ASSERT_EQ(back.notes.size(), take.notes.size());
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    const take::Note& note = take.notes[i];
    EXPECT_NEAR(back.notes[i].onset_seconds, static_cast<double>(note.onset_samples) / 48000.0,
                0.001);
    EXPECT_NEAR(back.notes[i].offset_seconds, static_cast<double>(note.offset_samples) / 48000.0,
                0.0015);
    EXPECT_EQ(back.notes[i].midi, note.midi);
    EXPECT_EQ(back.notes[i].velocity < 64, note.is_dead);
  }
}

// Standard MIDI Files 1.0 (MIDI Manufacturers Association, 1988): "MThd", length 6, format 1, two
// tracks; "MTrk" chunks that end with FF 2F 00 and fill the file exactly.
TEST(MidiFile, chunks_are_those_of_the_standard) {
  const std::string bytes = midi_file(example::walk());
  const auto number = [&bytes](std::size_t at, std::size_t count) {
    std::size_t value = 0;
    for (std::size_t i = at; i < at + count; ++i) {
      value = value << 8U | static_cast<unsigned char>(bytes[i]);
    }
    return value;
  };
  ASSERT_GT(bytes.size(), 22U);
  EXPECT_EQ(bytes.substr(0, 4), "MThd");
  EXPECT_EQ(number(4, 4), 6U);
  EXPECT_EQ(number(8, 2), 1U);
  EXPECT_EQ(number(10, 2), 2U);
  std::size_t at = 14;
  int tracks = 0;
  while (at < bytes.size()) {
    ASSERT_EQ(bytes.substr(at, 4), "MTrk");
    at += 8 + number(at + 4, 4);
    ASSERT_LE(at, bytes.size());
    EXPECT_EQ(bytes.substr(at - 3, 3), std::string("\xFF\x2F\x00", 3));
    ++tracks;
  }
  EXPECT_EQ(tracks, 2);
}

TEST(MidiFile, an_independent_reader_finds_every_note_chord_and_meter) {
  take::Take take = example::walk();
  take.passages.push_back(
      {take::PassageId{99}, "turn", take.notes[9].onset_samples, take.notes[14].onset_samples});
  const ReadBack back = read_back(take);
  if (!back.has_reader) GTEST_SKIP() << "python3-mido is not installed";
  EXPECT_EQ(back.file_line, "file 1 2 960");
  EXPECT_EQ(back.key, "Bb");
  EXPECT_EQ(back.program, 33);  // fingered bass, counted from 0 (General MIDI 1)
  expect_notes(take, back);
  ASSERT_EQ(back.markers.size(), 6U);
  EXPECT_EQ(back.markers[0].text, "Bb7");
  EXPECT_NEAR(back.markers[1].seconds, 2.5, 0.001);
  EXPECT_EQ(back.markers[4].text, "Cm7");
  ASSERT_EQ(back.cues.size(), 1U);
  EXPECT_EQ(back.cues[0].text, "turn");
  // One beat of lead-in, then bars of four.
  ASSERT_EQ(back.meters.size(), 2U);
  EXPECT_EQ(back.meters[0].text, "1 4");
  EXPECT_EQ(back.meters[1].text, "4 4");
  EXPECT_NEAR(back.meters[1].seconds, 0.5, 0.001);
}

TEST(MidiFile, the_tempo_map_follows_a_take_that_drifts) {
  example::TakeMaker maker(97.0, 3, 1.7);
  maker.bars(40, 1);
  auto& take = maker.take();
  for (std::size_t i = 0; i < take.beats.size(); ++i) {
    take.beats[i].time_samples +=
        static_cast<std::int64_t>(2000.0 * std::sin(0.2 * static_cast<double>(i)));
  }
  for (std::size_t i = 0; i < take.beats.size(); ++i) {
    take::Note note;
    note.midi = 40;
    note.onset_samples = take.beats[i].time_samples + 311;
    note.offset_samples = note.onset_samples + 12345;
    take.notes.push_back(note);
  }
  const ReadBack back = read_back(take);
  if (!back.has_reader) GTEST_SKIP() << "python3-mido is not installed";
  expect_notes(take, back);
  EXPECT_GT(back.tempos.size(), 50U);
  ASSERT_FALSE(back.meters.empty());
  EXPECT_EQ(back.meters.back().text, "3 4");
}

TEST(MidiFile, works_without_a_grid_and_without_notes) {
  example::TakeMaker maker(120.0);
  maker.note(0.3, 1.0, "E1").note(2.1, 0.7, "G1");
  const take::Take free_time = maker.done();
  const ReadBack back = read_back(free_time);
  if (!back.has_reader) GTEST_SKIP() << "python3-mido is not installed";
  expect_notes(free_time, back);
  EXPECT_TRUE(read_back(take::Take{}).notes.empty());
}

TEST(MidiFile, is_the_same_bytes_every_time) {
  EXPECT_EQ(midi_file(example::walk()), midi_file(example::walk()));
}

// At 120 a minute a beat is half a second; a swing of 2 : 1 puts the second eighth at two thirds of
// it. Played 30 ms late, written on its place.
TEST(MidiFile, quantised_notes_stand_where_the_sheet_writes_them) {
  example::TakeMaker maker(120.0);
  maker.bars(2);
  maker.take().swing_ratio = 2.0;
  maker.note(0.06, 0.8, "E1").note(1, 0.6, "G1").note(1.7, 0.25, "A1").note(2.05, 1.9, "B1");
  maker.take().recording = take::RecordingRef{"line.wav", 48000 * 8, 1, "hash"};
  const take::Take take = maker.done();
  const std::string path = testing::TempDir() + "quantised.mid";
  ASSERT_TRUE(export_midi(take, path, {.is_steady = true, .is_quantised = true}));
  const auto file = notation::read_midi(path);
  ASSERT_TRUE(file) << file.error().message;
  const std::vector<double> expected{0.5, 1.0, 1.0 + 1.0 / 3.0, 1.5};
  ASSERT_EQ(file->take.notes.size(), expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i) {
    EXPECT_NEAR(static_cast<double>(file->take.notes[i].onset_samples) / 48000.0, expected[i],
                0.001);
  }
}

}  // namespace
}  // namespace lowstride::sheet
