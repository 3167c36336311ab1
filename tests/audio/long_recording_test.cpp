#include <sndfile.h>
#include <sys/resource.h>

#include <array>
#include <fstream>

#include "src/audio/analysis_audio.hpp"
#include "src/audio/slow.hpp"
#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

/// Resident memory at its highest, in MB; a child process counts for itself.
double highest_memory_mb() {
  std::ifstream status("/proc/self/status");
  std::string word;
  while (status >> word) {
    if (word == "VmHWM:") {
      double kilobytes = 0.0;
      status >> kilobytes;
      return kilobytes / 1000.0;
    }
  }
  return 1e9;
}

class LongRecording : public AudioFiles {
 protected:
  /// An hour of stereo: a loop of five seconds of noise and tone.
  fs::path write_hour(const char* name, int format) const {
    SF_INFO info{};
    info.samplerate = 44100;
    info.channels = 2;
    info.format = format;
    SNDFILE* file = sf_open((folder() / name).c_str(), SFM_WRITE, &info);
    EXPECT_NE(file, nullptr);
    const Planes tone = sine(1, 44100, 441.0, 0.4F);
    std::vector<float> block;
    for (std::size_t i = 0; i < 44100; ++i) {
      block.push_back(tone[0][i]);
      block.push_back(tone[0][(i * 7) % 44100] * 0.5F);
    }
    for (int second = 0; second < 3600; ++second) {
      for (std::size_t begin = 0; begin < 44100; begin += 4410) {
        sf_writef_float(file, block.data() + 2 * begin, 4410);
      }
    }
    sf_close(file);
    return folder() / name;
  }
};

// The bound of the product is 600 MB for a whole analysis; reading alone must stay far below.
TEST_F(LongRecording, an_hour_of_stereo_needs_little_memory) {
  const fs::path wav = write_hour("hour.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  const fs::path mp3 = write_hour("hour.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III);
  for (const fs::path& path : {wav, mp3}) {
    EXPECT_EQ(run_in_child([&] {
                const double before = highest_memory_mb();
                const auto audio = prepare_analysis_audio(path);
                if (!audio || audio->sample_count() != 3600LL * 22050) return 1;
                return highest_memory_mb() - before < 60.0 ? 0 : 2;
              }),
              0)
        << path;
  }
  EXPECT_EQ(run_in_child([&] {
              const double before = highest_memory_mb();
              const auto reader = open_recording(mp3);
              if (!reader || (*reader)->info().sample_count != 3600LL * 44100) return 1;
              if (!(*reader)->seek(3599LL * 44100)) return 2;
              return highest_memory_mb() - before < 60.0 ? 0 : 3;
            }),
            0);
}

TEST_F(LongRecording, an_hour_is_slowed_in_little_memory) {
  SlowJob job;
  job.input = write_hour("hour.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  job.output = folder() / "slow.flac";
  job.speed_ratio = 0.75;
  EXPECT_EQ(run_in_child([&] {
              const double before = highest_memory_mb();
              const auto report = render_slow(job);
              if (!report || report->output_sample_count != 4800LL * 44100) return 1;
              return highest_memory_mb() - before < 100.0 ? 0 : 2;
            }),
            0);
}

}  // namespace
}  // namespace lowstride::audio
