// What the desk holds in memory with an hour of sound: a FLAC file in stereo, its take with 10,000
// notes, its evidence, its waveform, and the player at work. Must stay under 1 GB at its most.
//   lowstride_desk_memory FOLDER [--analyse]
// Makes what it needs in FOLDER (about 300 MB) and removes it. With --analyse the hour is listened
// to by the nets as well, for which the same bound holds; that takes minutes.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include <fftw3.h>
#include <fmt/format.h>

#include "gui/model/listening.hpp"
#include "src/analysis/evidence_cache.hpp"
#include "src/analysis/lift.hpp"
#include "src/audio/recording.hpp"
#include "src/audio/writer.hpp"
#include "src/take/storage.hpp"
#include "tests/bench/hour_take.hpp"
#include "tests/gui/desk_stage.hpp"

namespace {

namespace fs = std::filesystem;
using lowstride::desk::Action;
using lowstride::desk::testing_help::DeskStage;

constexpr double most_megabytes = 1000.0;
constexpr int rate_hz = 48000;

/// Of the process, in megabytes: resident now, and at its most since `forget_peak`.
double status_megabytes(std::string_view field) {
  std::ifstream status("/proc/self/status");
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with(field)) return std::stod(line.substr(field.size() + 1)) / 1024.0;
  }
  return 0.0;
}
void forget_peak() { std::ofstream("/proc/self/clear_refs") << 5; }

/// Plucks over noise, a bar of four seconds again and again.
bool write_hour(const fs::path& path, std::int64_t sample_count) {
  std::vector<float> bar(4 * rate_hz);
  std::uint32_t lot = 1;
  for (std::size_t i = 0; i < bar.size(); ++i) {
    const double t = static_cast<double>(i % rate_hz) / rate_hz;
    const std::int64_t second = static_cast<std::int64_t>(i) / static_cast<std::int64_t>(rate_hz);
    const double hz = 41.2 * std::pow(2.0, static_cast<double>(5 * second) / 12.0);
    lot = lot * 1664525U + 1013904223U;
    const double noise = static_cast<double>(lot >> 16U) / 65536.0 - 0.5;
    double value = 0.02 * noise;
    for (int k = 1; k <= 5; ++k) {
      value += 0.25 / k * std::exp(-2.0 * k * t) * std::sin(2.0 * 3.14159265358979 * hz * k * t);
    }
    bar[i] = static_cast<float>(value);
  }
  lowstride::audio::WriteOptions options;
  options.sample_rate_hz = rate_hz;
  options.channel_count = 2;
  auto writer = lowstride::audio::AudioWriter::create(path, options);
  if (!writer) return false;
  const float* channels[] = {bar.data(), bar.data()};
  for (std::int64_t done = 0; done < sample_count;) {
    const auto count =
        std::min<std::int64_t>(static_cast<std::int64_t>(bar.size()), sample_count - done);
    if (!(*writer)->write({channels, static_cast<std::size_t>(count)})) return false;
    done += count;
  }
  return (*writer)->commit().has_value();
}

lowstride::dsp::ProbabilityTable full_table(std::size_t rows, std::size_t columns, float value) {
  lowstride::dsp::ProbabilityTable table(columns);
  const std::vector<float> row(columns, value);
  for (std::size_t i = 0; i < rows; ++i) table.append(row);
  return table;
}

/// Evidence of the shape that an hour has, and larger than it: no value is 0, so none is left out.
lowstride::dsp::Evidence evidence_of(double seconds) {
  namespace dsp = lowstride::dsp;
  const auto frames = static_cast<std::size_t>(dsp::seconds_frame(seconds)) + 1;
  const std::size_t chords = (frames + dsp::chord_hop_frames - 1) / dsp::chord_hop_frames;
  dsp::Evidence evidence;
  evidence.pitch = full_table(frames, 46, 1.0F / 46.0F);
  evidence.onset = full_table(frames, 45, 0.1F);
  evidence.beat.assign(frames, 0.1F);
  evidence.downbeat.assign(frames, 0.05F);
  evidence.dead.assign(frames, 0.01F);
  evidence.chord = full_table(chords, 169, 1.0F / 169.0F);
  evidence.chord_bass = full_table(chords, 12, 1.0F / 12.0F);
  return evidence;
}

class Report {
 public:
  void step(const char* what, const std::function<void()>& work) {
    forget_peak();
    work();
    const double peak = status_megabytes("VmHWM");
    fmt::print("{:<52}{:>6.0f} MB, at most {:>6.0f} MB\n", what, status_megabytes("VmRSS"), peak);
    is_well_ = is_well_ && peak < most_megabytes;
  }
  void expect(bool holds, const char* what) {
    if (!holds) fmt::print("FAILED: {}\n", what);
    is_well_ = is_well_ && holds;
  }
  [[nodiscard]] bool is_well() const noexcept { return is_well_; }

 private:
  bool is_well_ = true;
};

void go_on(DeskStage& stage, double seconds) {
  const auto end = std::chrono::steady_clock::now() +
                   std::chrono::duration_cast<std::chrono::steady_clock::duration>(
                       std::chrono::duration<double>(seconds));
  while (std::chrono::steady_clock::now() < end) {
    stage.step();
    std::this_thread::sleep_for(std::chrono::milliseconds(15));
  }
}

bool measure(const fs::path& folder, bool analyses) {
  const fs::path recording = folder / "hour.flac";
  const fs::path path = folder / "hour.take";
  lowstride::take::Take take = lowstride::bench::hour_of_walking();
  if (!write_hour(recording, take.length_samples)) return false;
  {
    const auto reader = lowstride::audio::open_recording(recording, {});
    if (!reader) return false;
    take.recording = lowstride::analysis::fresh_take((*reader)->info(), recording, path).recording;
  }
  take.analysis_version = "held";
  const double seconds = static_cast<double>(take.length_samples) / rate_hz;
  lowstride::analysis::EvidenceKey key;
  key.content_hash = take.recording->content_hash;
  key.sample_count =
      std::llround(static_cast<double>(take.length_samples) * lowstride::dsp::analysis_rate_hz /
                   static_cast<double>(take.time_base_hz));
  lowstride::analysis::EvidenceCache().keep(key, evidence_of(seconds));
  if (!lowstride::take::save_copy(take, path)) return false;

  Report report;
  DeskStage stage(
      {.width = 1920.0F, .height = 1080.0F, .make_hearing = lowstride::desk::make_listening});
  auto& desk = stage.desk();
  report.step("an hour opened, its evidence and waveform there", [&] {
    stage.open(path);
    while (desk.session().levels()->levels().share_done() < 1.0) go_on(stage, 0.1);
  });
  report.expect(desk.session().evidence() != nullptr, "the evidence is held");
  report.step("played for ten seconds, slowed, low voice up", [&] {
    desk.run(Action::zoom_bar);
    desk.run(Action::lens);
    desk.run(Action::low_voice);
    desk.run(Action::slower);
    desk.run(Action::play);
    go_on(stage, 10.0);
  });
  report.expect(desk.state().playing_samples.has_value(), "it plays");
  report.step("everything confirmed, undone and done again, saved", [&] {
    desk.run(Action::select_all);
    desk.run(Action::confirm);
    stage.settle();
    desk.run(Action::undo);
    desk.run(Action::redo);
    desk.run(Action::save);
    stage.settle();
  });
  report.step("decided again from the evidence that is held", [&] {
    desk.session().listen_again();
    stage.settle();
  });
  report.step("a sheet looked at", [&] {
    desk.run(Action::export_sheet);
    report.expect(stage.settle_export(), "the page is drawn");
  });
  if (!analyses) return report.is_well();
  desk.run(Action::clear_selection);
  fs::remove_all(folder / "cache");
  fs::remove(path);
  report.step("the hour listened to by the nets, waveform and all", [&] {
    stage.open(recording);
    stage.settle();
  });
  report.expect(desk.session().evidence() != nullptr, "it was listened to");
  return report.is_well();
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    fmt::print(stderr, "Usage: lowstride_desk_memory FOLDER [--analyse]\n");
    return 2;
  }
  fftwf_make_planner_thread_safe();
  const fs::path folder = fs::absolute(argv[1]) / "desk-memory";
  fs::remove_all(folder);
  fs::create_directories(folder);
  ::setenv("XDG_CACHE_HOME", (folder / "cache").c_str(), 1);
  // A sound device that takes its time and is nowhere heard.
  ::setenv("SDL_AUDIODRIVER", "dummy", 1);
  const bool is_well = measure(folder, argc > 2 && std::string_view(argv[2]) == "--analyse");
  std::error_code ignored;
  fs::remove_all(folder, ignored);
  fmt::print("{}\n", is_well ? "within the bound" : "OVER the bound, or not measured");
  return is_well ? 0 : 1;
}
