// How fast a lift is: the demo recording, repeated to ten minutes, lifted on one core; prints times
// real time and the share of each stage.
//   lowstride_lift_bench [MINUTES]

#include <sched.h>
#include <unistd.h>

#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <fftw3.h>
#include <fmt/format.h>

#include "src/analysis/lift.hpp"
#include "src/audio/recording.hpp"
#include "src/audio/writer.hpp"

namespace {

namespace fs = std::filesystem;
using lowstride::Result;

double cpu_seconds() {
  timespec time{};
  ::clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
  return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
}

/// The demo recording over and over, as a WAV file of `seconds`.
Result<void> write_long_recording(const fs::path& path, double seconds) {
  const auto reader = lowstride::audio::open_recording(LOWSTRIDE_SAMPLES "/ferry-slip.ogg");
  if (!reader) return tl::unexpected(reader.error());
  const auto& info = (*reader)->info();
  auto writer = lowstride::audio::AudioWriter::create(
      path, {.sample_rate_hz = info.sample_rate_hz, .channel_count = info.channel_count});
  if (!writer) return tl::unexpected(writer.error());
  constexpr std::size_t block = 16384;
  std::vector<std::vector<float>> channels(static_cast<std::size_t>(info.channel_count),
                                           std::vector<float>(block));
  std::vector<float*> pointers;
  pointers.reserve(channels.size());
  for (auto& channel : channels) pointers.push_back(channel.data());
  const std::vector<const float*> readable(pointers.begin(), pointers.end());
  while (static_cast<double>((*writer)->written_sample_count()) < seconds * info.sample_rate_hz) {
    const auto count = (*reader)->read({pointers, block});
    if (!count) return tl::unexpected(count.error());
    if (*count == 0) {
      if (auto back = (*reader)->seek(0); !back) return back;
      continue;
    }
    if (auto written = (*writer)->write({readable, *count}); !written) return written;
  }
  return (*writer)->commit();
}

int run(double minutes) {
  std::string folder = (fs::temp_directory_path() / "lowstride-bench-XXXXXX").string();
  if (::mkdtemp(folder.data()) == nullptr) return 1;
  ::setenv("XDG_CACHE_HOME", folder.c_str(), 1);
  cpu_set_t one;
  CPU_ZERO(&one);
  CPU_SET(0, &one);
  ::sched_setaffinity(0, sizeof(one), &one);
  lowstride::analysis::LiftJob job;
  job.recording = folder + "/long.wav";
  int code = 1;
  if (const auto made = write_long_recording(job.recording, 60.0 * minutes); made) {
    std::vector<std::pair<std::string, double>> stages;
    double last = cpu_seconds();
    const double begin = last;
    lowstride::WorkControl control;
    control.on_progress = [&](std::string_view stage, double /*share*/) {
      if (stages.empty() || stages.back().first != stage) stages.emplace_back(stage, 0.0);
      const double now = cpu_seconds();
      stages.back().second += now - last;
      last = now;
    };
    const auto report = lowstride::analysis::lift(job, control);
    const double whole = cpu_seconds() - begin;
    if (report && !stages.empty()) {
      stages.back().second += cpu_seconds() - last;
      fmt::print("{:.0f} minutes lifted at {:.1f} x real time on one core, {} notes\n", minutes,
                 60.0 * minutes / whole, report->take.notes.size());
      for (const auto& [stage, seconds] : stages) {
        fmt::print("  {:24} {:5.1f} %\n", stage, 100.0 * seconds / whole);
      }
      code = 0;
    } else if (!report) {
      fmt::print(stderr, "{}\n", report.error().message);
    }
  } else {
    fmt::print(stderr, "{}\n", made.error().message);
  }
  fs::remove_all(folder);
  return code;
}

}  // namespace

int main(int argc, char** argv) {
  fftwf_make_planner_thread_safe();
  const double minutes = argc > 1 ? std::atof(argv[1]) : 10.0;
  if (!(minutes > 0.1 && minutes <= 360.0)) {
    fmt::print(stderr, "usage: lowstride_lift_bench [MINUTES], 0.1 to 360\n");
    return 2;
  }
  return run(minutes);
}
