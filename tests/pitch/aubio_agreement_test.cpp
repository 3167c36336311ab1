#include <algorithm>
#include <cmath>
#include <memory>
#include <span>
#include <vector>

#include <aubio/aubio.h>
#include <gtest/gtest.h>

#include "tests/pitch/heard_line.hpp"
#include "tests/pitch/plucked_line.hpp"

namespace lowstride::dsp {
namespace {

// Median pitch, by aubio's YIN (Brossier's library; de Cheveigné & Kawahara 2002), of a stretch.
double aubio_midi(const std::vector<float>& sound, double begin_seconds, double end_seconds) {
  constexpr uint_t window = 4096;
  constexpr uint_t hop = 256;
  const std::unique_ptr<aubio_pitch_t, void (*)(aubio_pitch_t*)> pitch(
      new_aubio_pitch("yinfast", window, hop, static_cast<uint_t>(analysis_rate_hz)),
      del_aubio_pitch);
  const std::unique_ptr<fvec_t, void (*)(fvec_t*)> in(new_fvec(hop), del_fvec);
  const std::unique_ptr<fvec_t, void (*)(fvec_t*)> out(new_fvec(1), del_fvec);
  std::vector<double> found;
  for (std::size_t n = 0; n + hop <= sound.size(); n += hop) {
    std::copy_n(sound.begin() + static_cast<std::ptrdiff_t>(n), hop, in->data);
    aubio_pitch_do(pitch.get(), in.get(), out.get());
    // Its window holds the last 4096 samples.
    const double last = static_cast<double>(n + hop) / analysis_rate_hz;
    const double first = last - window / analysis_rate_hz;
    if (first >= begin_seconds && last <= end_seconds && out->data[0] > 0.0F) {
      found.push_back(69.0 + 12.0 * std::log2(static_cast<double>(out->data[0]) / 440.0));
    }
  }
  if (found.empty()) return 0.0;
  std::ranges::sort(found);
  return found[found.size() / 2];
}

TEST(DecodedNotes, agree_with_aubio_within_ten_cents_on_isolated_notes) {
  for (int midi = 28; midi <= 55; midi += 3) {
    const auto sound = play_plucked({{0.3, 1.3, static_cast<double>(midi)}}, 1.6);
    const auto notes = hear(sound);
    ASSERT_EQ(notes.size(), 1U) << "MIDI " << midi;
    EXPECT_NEAR(aubio_midi(sound, 0.35, 1.25), notes[0].midi, 0.10) << "MIDI " << midi;
  }
}

}  // namespace
}  // namespace lowstride::dsp
