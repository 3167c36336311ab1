// Our signal blocks beside the libraries that do the same work, in one run: resampling beside
// libsoxr, and our Fourier transform beside FFTW called bare. `tests/bench/run.py` reads the JSON.
#include <algorithm>
#include <cmath>
#include <complex>
#include <memory>
#include <vector>

#include <benchmark/benchmark.h>
#include <fftw3.h>
#include <soxr.h>

#include "dsp/spectrum/real_fft.hpp"
#include "dsp/stretch/resampler.hpp"
#include "dsp/stretch/sample_ring.hpp"

namespace {

using namespace lowstride::dsp;

constexpr std::size_t sample_count = 1U << 17U;
// A semitone up, as a player asks for.
const double step = std::exp2(1.0 / 12.0);
constexpr std::size_t fft_samples = 4096;
constexpr int fft_count = 200;

std::vector<float> tone() {
  std::vector<float> samples(sample_count);
  for (std::size_t n = 0; n < samples.size(); ++n) {
    samples[n] = static_cast<float>(0.3 * std::sin(0.01 * static_cast<double>(n)));
  }
  return samples;
}

void resampling_ours(benchmark::State& state) {
  const auto samples = tone();
  stretch::SampleRing ring(1, sample_count);
  ring.write(0, 0, samples);
  ring.advance(sample_count);
  const stretch::Resampler resampler;
  const auto reach = static_cast<double>(stretch::Resampler::reach_samples(step)) + 1.0;
  std::vector<float> out(static_cast<std::size_t>(static_cast<double>(sample_count) / step));
  for ([[maybe_unused]] auto _ : state) {
    double place = reach;
    std::size_t n = 0;
    for (; place + reach < static_cast<double>(sample_count); place += step) {
      out[n++] = resampler.value(ring, 0, place, step);
    }
    benchmark::DoNotOptimize(out.data());
  }
}
BENCHMARK(resampling_ours)->Unit(benchmark::kMillisecond);

void resampling_soxr(benchmark::State& state) {
  const auto samples = tone();
  std::vector<float> out(sample_count);
  for ([[maybe_unused]] auto _ : state) {
    // A rate that may change at any sample, as ours; high quality is its usual one.
    const auto quality = soxr_quality_spec(SOXR_HQ, SOXR_VR);
    soxr_error_t error = nullptr;
    const std::unique_ptr<soxr, void (*)(soxr_t)> resampler(
        soxr_create(2.0, 1.0, 1, &error, nullptr, &quality, nullptr), soxr_delete);
    soxr_set_io_ratio(resampler.get(), step, 0);
    std::size_t done = 0;
    std::size_t used = 0;
    soxr_process(resampler.get(), samples.data(), sample_count, &used, out.data(), out.size(),
                 &done);
    if (error != nullptr || done == 0) state.SkipWithError("soxr gave nothing");
    benchmark::DoNotOptimize(out.data());
  }
}
BENCHMARK(resampling_soxr)->Unit(benchmark::kMillisecond);

void fft_ours(benchmark::State& state) {
  RealFft fft(fft_samples);
  const std::vector<float> frame(fft_samples, 0.1F);
  std::vector<std::complex<float>> bins(fft.bin_count());
  for ([[maybe_unused]] auto _ : state) {
    for (int i = 0; i < fft_count; ++i) fft.forward(frame, bins);
    benchmark::DoNotOptimize(bins.data());
  }
}
BENCHMARK(fft_ours)->Unit(benchmark::kMillisecond);

void fft_fftw(benchmark::State& state) {
  float* in = fftwf_alloc_real(fft_samples);
  fftwf_complex* out = fftwf_alloc_complex(fft_samples / 2 + 1);
  fftwf_plan plan = fftwf_plan_dft_r2c_1d(static_cast<int>(fft_samples), in, out, FFTW_ESTIMATE);
  const std::vector<float> frame(fft_samples, 0.1F);
  for ([[maybe_unused]] auto _ : state) {
    for (int i = 0; i < fft_count; ++i) {
      std::copy(frame.begin(), frame.end(), in);
      fftwf_execute(plan);
    }
    benchmark::DoNotOptimize(out);
  }
  fftwf_destroy_plan(plan);
  fftwf_free(in);
  fftwf_free(out);
}
BENCHMARK(fft_fftw)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
