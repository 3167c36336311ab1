#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "dsp/stretch/stretcher.hpp"

namespace lowstride::test {

inline constexpr double rate_hz = 44100.0;

/// Open strings of a five-string bass in twelve-tone equal temperament on A4 = 440 Hz (ISO
/// 16:1975): 440 * 2^((m - 69) / 12) for m = 23, 28, 33 and an octave over E1, m = 40.
inline constexpr double b0_hz = 30.8677;
inline constexpr double e1_hz = 41.2034;
inline constexpr double a1_hz = 55.0;
inline constexpr double e2_hz = 82.4069;

/// A harmonic tone of `partial_count` partials with amplitude 1 / k^0.8, faded over 30 ms.
std::vector<float> steady_tone(double f0_hz, double seconds, int partial_count = 8);

/// A plucked string at `onset_seconds` of an otherwise silent `seconds`: partials that die away,
/// the higher the faster, and a burst of noise at the start.
std::vector<float> plucked_tone(double f0_hz, double onset_seconds, double seconds);

/// Short noise bursts at the given seconds, over a floor of noise at -80 dB.
std::vector<float> clicks(std::span<const double> onsets_seconds, double seconds);

/// White noise of a peak of 1, from a fixed seed.
std::vector<float> noise(std::size_t count, unsigned seed);

using Channels = std::vector<std::vector<float>>;

/// Runs a whole signal through the stretcher in blocks of `block_samples`.
Channels run(dsp::Stretcher& stretcher, const dsp::StretchSettings& settings, const Channels& in,
             std::size_t block_samples = 4096);
/// The same with a new stretcher for the rate.
Channels stretched(const Channels& in, double speed, double pitch_ratio = 1.0,
                   double sample_rate_hz = rate_hz);

/// A partial to measure: its frequency, and the distance to its neighbours, which are kept out.
struct Partial {
  double hz;
  double spacing_hz;
};
/// Frequency of a partial, by the slope of the phase of the signal brought down by its frequency
/// and averaged over four periods of the spacing, between 25 % and 75 % of `signal`.
double partial_hz(std::span<const float> signal, Partial partial, double sample_rate_hz = rate_hz);
/// Amplitude modulation of that partial there: sqrt(2) * deviation / mean of the envelope.
double modulation_depth(std::span<const float> signal, Partial partial,
                        double sample_rate_hz = rate_hz);

/// Lowest level of that partial there, as a share of its mean: small where it breaks for a moment.
double lowest_level(std::span<const float> signal, Partial partial);

/// Place of an attack: the first sample from `from` on whose 1 ms energy reaches a quarter of the
/// highest within [from, to).
std::size_t attack_place(std::span<const float> signal, std::size_t from, std::size_t to);

double energy(std::span<const float> signal);
double peak(std::span<const float> signal);

}  // namespace lowstride::test
