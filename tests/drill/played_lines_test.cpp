#include <stdlib.h>
#include <sys/wait.h>

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "src/audio/pitch_listener.hpp"
#include "src/audio/planes.hpp"
#include "src/audio/recording.hpp"
#include "src/drill/answer.hpp"

namespace lowstride::drill {
namespace {

struct Voice {
  const char* font;
  int program;  // General MIDI, from 0: 24-28 guitars, 32-35 basses
  int low_midi;
  int high_midi;
  double bpm;
};

constexpr const char* tim = "/usr/share/sounds/sf2/TimGM6mb.sf2";
constexpr const char* fluid = "/usr/share/sounds/sf2/FluidR3_GM.sf2";

constexpr Voice voices[] = {
    {tim, 32, 28, 50, 120.0},   {tim, 33, 28, 50, 160.0},   {tim, 34, 28, 50, 100.0},
    {tim, 35, 28, 50, 140.0},   {fluid, 32, 28, 50, 180.0}, {fluid, 33, 28, 50, 110.0},
    {fluid, 34, 28, 50, 130.0}, {fluid, 35, 28, 50, 150.0}, {tim, 24, 40, 64, 120.0},
    {tim, 25, 40, 64, 100.0},   {tim, 26, 40, 64, 150.0},   {tim, 27, 40, 64, 130.0},
    {fluid, 24, 40, 64, 110.0}, {fluid, 25, 40, 64, 140.0}, {fluid, 26, 40, 64, 160.0},
    {fluid, 27, 40, 64, 120.0}};

/// A walking line: steps and small leaps, a fifth or an octave now and then, quarters with some
/// pairs of eighths and some halves (figures of the statistics of walking lines: four fifths of the
/// beats have one onset).
std::vector<ItemNote> walk(const Voice& voice, std::mt19937& random) {
  constexpr int moves[] = {-12, -7, -5, -4, -3, -2, -2, -1, -1, 1, 1, 2, 2, 3, 4, 5, 7, 12};
  std::vector<ItemNote> line;
  int midi = voice.low_midi + static_cast<int>(random() % 12);
  double beat = 0.0;
  while (beat < 48.0) {
    const auto lot = random() % 10;
    const double length = lot == 0 ? 2.0 : lot <= 2 ? 0.5 : 1.0;
    for (int i = 0; i < (length < 1.0 ? 2 : 1); ++i) {
      line.push_back({beat, length, 0, midi, false, std::nullopt, std::nullopt, std::nullopt});
      beat += length;
      int next = midi + moves[random() % std::size(moves)];
      while (next < voice.low_midi || next > voice.high_midi)
        next = midi + moves[random() % std::size(moves)];
      midi = next;
    }
  }
  return line;
}

/// A standard MIDI file of one track (MIDI 1.0 specification: big-endian, times as variable-length
/// quantities).
std::string midi_file(const Voice& voice, const std::vector<ItemNote>& line, std::mt19937& random) {
  std::string track;
  const auto put = [](std::string& out, std::uint32_t value, int bytes) {
    for (int i = bytes - 1; i >= 0; --i) out += static_cast<char>((value >> (8 * i)) & 0xFFU);
  };
  const auto wait = [&](std::uint32_t ticks) {
    std::string bytes(1, static_cast<char>(ticks & 0x7FU));
    while ((ticks >>= 7U) != 0)
      bytes.insert(bytes.begin(), static_cast<char>((ticks & 0x7FU) | 0x80U));
    track += bytes;
  };
  wait(0);
  track += "\xFF\x51\x03";
  put(track, static_cast<std::uint32_t>(6e7 / voice.bpm), 3);
  wait(0);
  put(track, 0xC0U, 1);
  put(track, static_cast<std::uint32_t>(voice.program), 1);
  std::uint32_t rest = 480;  // one beat before the first note
  for (const ItemNote& note : line) {
    const auto whole = static_cast<std::uint32_t>(480.0 * note.length_beats);
    const auto sounding = whole * 9U / 10U;
    wait(rest);
    put(track, 0x90U, 1);
    put(track, static_cast<std::uint32_t>(note.midi), 1);
    put(track, static_cast<std::uint32_t>(80U + random() % 35U), 1);
    wait(sounding);
    put(track, 0x80U, 1);
    put(track, static_cast<std::uint32_t>(note.midi), 1);
    put(track, 0U, 1);
    rest = whole - sounding;
  }
  wait(960);
  track += std::string("\xFF\x2F\x00", 3);
  std::string file = "MThd";
  put(file, 6, 4);
  put(file, 0, 2);
  put(file, 1, 2);
  put(file, 480, 2);
  file += "MTrk";
  put(file, static_cast<std::uint32_t>(track.size()), 4);
  return file + track;
}

std::vector<float> samples_of(const std::filesystem::path& path, double& rate_hz) {
  audio::OpenOptions options;
  options.with_content_hash = false;
  auto reader = *audio::open_recording(path, options);
  rate_hz = reader->info().sample_rate_hz;
  const auto count = static_cast<std::size_t>(reader->info().sample_count);
  audio::Planes planes(static_cast<std::size_t>(reader->info().channel_count), count);
  std::vector<float> mono(*reader->read(planes.part(0, count)));
  for (std::size_t c = 0; c < planes.channel_count(); ++c) {
    for (std::size_t i = 0; i < mono.size(); ++i) {
      mono[i] += planes.read(0, count).channel(c)[i] / static_cast<float>(planes.channel_count());
    }
  }
  return mono;
}

// Lines played by an independent synthesizer (fluidsynth) with two sound fonts, four basses and
// four guitars each, heard and judged as a played answer is.
TEST(PlayedLines, are_judged_right_when_they_are_right) {
  std::string folder =
      (std::filesystem::temp_directory_path() / "lowstride-played-XXXXXX").string();
  ASSERT_NE(::mkdtemp(folder.data()), nullptr);
  const std::filesystem::path midi = std::filesystem::path(folder) / "line.mid";
  const std::filesystem::path wav = std::filesystem::path(folder) / "line.wav";
  std::size_t all = 0;
  std::size_t right = 0;
  std::size_t octave = 0;
  std::size_t open = 0;
  std::size_t extra = 0;
  std::mt19937 random(11);
  for (const Voice& voice : voices) {
    Item item;
    item.kind = Kind::play_it_back;
    item.tempo_bpm = voice.bpm;
    item.beat_samples = {0, 1, 2};
    item.notes = walk(voice, random);
    std::ofstream(midi, std::ios::binary) << midi_file(voice, item.notes, random);
    const std::string command = "fluidsynth -ni -q -g 0.6 -R 0 -C 0 -r 44100 -F '" + wav.string() +
                                "' '" + voice.font + "' '" + midi.string() + "' >/dev/null 2>&1";
    ASSERT_EQ(std::system(command.c_str()), 0) << "fluidsynth is among the packages of the tests";
    audio::PitchListenerOptions options;
    const auto sound = samples_of(wav, options.sample_rate_hz);
    options.lowest_midi = voice.low_midi - 5;
    options.highest_midi = voice.high_midi + 12;
    LineAnswer answer;
    answer.is_played = true;
    for (const audio::HeardNote& note : audio::hear_notes(sound, options)) {
      answer.notes.push_back({note.onset_seconds * voice.bpm / 60.0 - 1.0, note.midi, true, false});
    }
    const Verdict verdict = judge(item, answer);
    std::size_t right_here = 0;
    std::size_t extra_here = 0;
    for (const MarkedNote& note : verdict.marks) {
      right_here += note.mark == Mark::tick ? 1U : 0U;
      octave += note.mark == Mark::octave ? 1U : 0U;
      open += note.mark == Mark::open ? 1U : 0U;
      extra_here += note.mark == Mark::extra ? 1U : 0U;
    }
    std::printf("%-28s program %d: %zu of %zu right, %zu extra, %.0f ms late\n",
                std::filesystem::path(voice.font).filename().c_str(), voice.program, right_here,
                item.notes.size(), extra_here, 1000.0 * verdict.late_seconds.value_or(0.0));
    all += item.notes.size();
    right += right_here;
    extra += extra_here;
  }
  const auto share = [&](std::size_t count) {
    return 100.0 * static_cast<double>(count) / static_cast<double>(all);
  };
  std::printf("%zu notes: %.1f %% right, %.1f %% octave, %.1f %% open, %.1f %% extra\n", all,
              share(right), share(octave), share(open), share(extra));
  EXPECT_GE(share(right), 97.0);
  EXPECT_LE(share(octave), 1.0);
  EXPECT_LE(share(extra), 5.0);
  std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace lowstride::drill
