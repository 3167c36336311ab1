// Cost of listening, stage by stage, each as "x real time" on one core, beside FFTW's own time for
// the same transforms. The sound is ten seconds of struck tones; cost does not depend on content.
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include <benchmark/benchmark.h>
#include <fftw3.h>

#include "dsp/base/evidence.hpp"
#include "dsp/learned/front_end.hpp"
#include "dsp/learned/listener.hpp"
#include "dsp/learned/nets.hpp"
#include "dsp/pitch/tuning.hpp"
#include "dsp/spectrum/hum.hpp"
#include "dsp/spectrum/real_fft.hpp"
#include "tests/learned/made_up_weights.hpp"

namespace {

using namespace lowstride::dsp;

constexpr double seconds = 10.0;
constexpr auto frames = static_cast<std::size_t>(seconds * analysis_rate_hz /
                                                 static_cast<double>(evidence_hop_samples));

std::vector<float> sound() {
  std::vector<float> samples(static_cast<std::size_t>(seconds * analysis_rate_hz));
  for (std::size_t n = 0; n < samples.size(); ++n) {
    const double time = static_cast<double>(n) / analysis_rate_hz;
    const double since = std::fmod(time, 0.5);
    const double hz = 41.2 * std::exp2(std::floor(time * 2.0) / 12.0);
    double value = 0.0;
    for (int k = 1; k < 8; ++k) value += std::sin(2.0 * std::numbers::pi * hz * k * since) / k;
    samples[n] = static_cast<float>(0.1 * value * std::exp(-3.0 * since));
  }
  return samples;
}

SurveyResult survey(const std::vector<float>& samples) {
  Survey pass;
  pass.process(samples);
  return pass.finish();
}

void say_speed(benchmark::State& state) {
  state.counters["x_real_time"] =
      benchmark::Counter(seconds, benchmark::Counter::kIsIterationInvariantRate);
}

void fftw_alone(benchmark::State& state) {
  RealFft long_fft(8192), short_fft(4096), band_fft(1024);
  std::vector<float> frame(8192, 0.1F);
  std::vector<std::complex<float>> bins(long_fft.bin_count());
  for ([[maybe_unused]] auto _ : state) {
    for (std::size_t i = 0; i < frames; ++i) {
      long_fft.forward(frame, bins);
      short_fft.forward(std::span(frame).first(4096), std::span(bins).first(2049));
      band_fft.forward(std::span(frame).first(1024), std::span(bins).first(513));
    }
    benchmark::DoNotOptimize(bins.data());
  }
  say_speed(state);
}
BENCHMARK(fftw_alone)->Unit(benchmark::kMillisecond);

void tuning(benchmark::State& state) {
  const auto samples = sound();
  for ([[maybe_unused]] auto _ : state) {
    TuningEstimator estimator;
    estimator.process(samples);
    benchmark::DoNotOptimize(estimator.finish());
  }
  say_speed(state);
}
BENCHMARK(tuning)->Unit(benchmark::kMillisecond);

void hum(benchmark::State& state) {
  const auto samples = sound();
  for ([[maybe_unused]] auto _ : state) {
    HumDetector detector;
    detector.process(samples);
    benchmark::DoNotOptimize(detector.finish());
  }
  say_speed(state);
}
BENCHMARK(hum)->Unit(benchmark::kMillisecond);

void front_end(benchmark::State& state) {
  const auto samples = sound();
  FrontEnd front(FrontEndOptions{});
  FrameQueue spectra(spectrum_lane_count), bands(band_count);
  for ([[maybe_unused]] auto _ : state) {
    front.process(samples, spectra, bands);
    spectra.drop(spectra.frame_count());
    bands.drop(bands.frame_count());
  }
  say_speed(state);
}
BENCHMARK(front_end)->Unit(benchmark::kMillisecond);

void pitch_net(benchmark::State& state) {
  PitchNet net(made_up_weights());
  FrameQueue out(pitch_net_lane_count);
  for ([[maybe_unused]] auto _ : state) {
    for (std::size_t i = 0; i < frames; i += 48) {
      net.spectra().grow_zeros(48);
      net.bands().grow_zeros(48);
      net.run(out, false);
      out.drop(out.frame_count());
    }
  }
  say_speed(state);
}
BENCHMARK(pitch_net)->Unit(benchmark::kMillisecond);

void chord_net(benchmark::State& state) {
  ChordNet net(made_up_weights());
  FrameQueue out(chord_net_lane_count);
  for ([[maybe_unused]] auto _ : state) {
    for (std::size_t i = 0; i < frames; i += 48) {
      net.input().grow_zeros(48 / chord_hop_frames);
      net.run(out, false);
      out.drop(out.frame_count());
    }
  }
  say_speed(state);
}
BENCHMARK(chord_net)->Unit(benchmark::kMillisecond);

void beat_net(benchmark::State& state) {
  BeatNet net(made_up_weights());
  FrameQueue out(2);
  for ([[maybe_unused]] auto _ : state) {
    for (std::size_t i = 0; i < frames; i += 48) {
      net.input().grow_zeros(48 / 2);
      net.run(out, false);
      out.drop(out.frame_count());
    }
  }
  say_speed(state);
}
BENCHMARK(beat_net)->Unit(benchmark::kMillisecond);

void whole_survey(benchmark::State& state) {
  const auto samples = sound();
  for ([[maybe_unused]] auto _ : state) benchmark::DoNotOptimize(survey(samples));
  say_speed(state);
}
BENCHMARK(whole_survey)->Unit(benchmark::kMillisecond);

void whole_listener(benchmark::State& state) {
  const auto samples = sound();
  const auto heard = survey(samples);
  const auto weights = made_up_weights();
  for ([[maybe_unused]] auto _ : state) {
    Listener listener(weights, heard);
    listener.process(samples);
    benchmark::DoNotOptimize(listener.finish());
  }
  say_speed(state);
}
BENCHMARK(whole_listener)->Unit(benchmark::kMillisecond);

}  // namespace

int main(int argc, char** argv) {
  fftwf_make_planner_thread_safe();
  benchmark::Initialize(&argc, argv);
  benchmark::RunSpecifiedBenchmarks();
  return 0;
}
