#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace lowstride::audio {

/// A signal whose place can be found again in what a microphone or cable brings back: six short
/// sweeps at uneven distances, 2.5 s in all, quiet enough for headphones (-12 dB). First sweep
/// after 0.2 s.
[[nodiscard]] std::vector<float> loopback_signal(double sample_rate_hz);

/// How much later `received` holds the signal, 0 .. 1 s, by the peak of the cross-correlation with
/// it (a matched filter), to a sample. Nothing when no delay stands out: too quiet, not connected.
/// `received` begins when the signal's first sample was sent.
[[nodiscard]] std::optional<double> loopback_latency_seconds(std::span<const float> received,
                                                             double sample_rate_hz);

}  // namespace lowstride::audio
