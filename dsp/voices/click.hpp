#pragma once

#include <vector>

namespace lowstride::dsp {

struct ClickOptions {
  double sample_rate_hz = 44100.0;
  double pitch_hz = 1500.0;       // high over a bass, below the cymbals; an accent is a fourth up
  double decay_seconds = 6e-3;    // to 1/e
  double length_seconds = 40e-3;  // where the decay has reached -58 dB
  double gain_db = 0.0;           // of the loudest sample, against full scale
};

/// One stroke of a metronome: a sine that begins at its zero, is loudest within half a millisecond
/// and dies away; the first sample is the beat. The values were chosen by ear to be heard through a
/// band without hiding an attack of the low voice.
[[nodiscard]] std::vector<float> make_click(const ClickOptions& options);

}  // namespace lowstride::dsp
