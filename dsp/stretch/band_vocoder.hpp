#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "dsp/spectrum/real_fft.hpp"
#include "dsp/stretch/onset_list.hpp"
#include "dsp/stretch/sample_ring.hpp"
#include "dsp/stretch/time_map.hpp"

namespace lowstride::dsp::stretch {

struct BandVocoderOptions {
  std::size_t channel_count = 2;
  unsigned band_index = 0;  // which bit of `Onset::bands` cuts this band
  std::size_t window_samples = 2048;
  std::size_t hop_samples = 256;     // of the stretched sound, between frames
  std::size_t whole_samples = 1100;  // of an attack, played as it is
  std::size_t hold_samples = 700;    // before an attack, that no frame is centred in
  std::size_t fade_samples = 88;     // from the old sound to the attack
  std::size_t energy_samples = 512;  // over which the dying away before an attack is followed
  std::size_t first_bin = 0;         // bins outside [first_bin, last_bin) hold nothing of the band
  std::size_t last_bin = 1025;
  bool low_sidelobes = false;  // Blackman in place of Hann: wider peaks, cleaner ones
};

/// Stretches one band of a signal, all channels with one common phase.
///
/// Frames stand `hop_samples` apart in the stretched sound; each takes its input around the place
/// that the time map says. Every peak of the spectrum (power summed over channels) carries its
/// neighbourhood with it, turned by one angle: identity phase locking, Laroche & Dolson 1999. The
/// angle grows by what the peak turns during hop - advance, measured directly between two input
/// frames that far apart, so no phase is ever unwrapped and none is multiplied; where input and
/// output advance alike nothing is turned at all and the input comes out as it was.
///
/// An onset cuts the band in two sounds: up to the cut the old one, whose last frames stand still
/// shortly before the cut and only follow its loudness, so that nothing of the attack is heard
/// early; from the cut on the new one, which begins with `whole_samples` as they are (angles 0, no
/// spreading) and then catches up with the time map. Peaks that go on sounding through the cut
/// keep their angles, so that a held note is not broken by a hit; only what is new starts anew
/// (per peak as in Röbel 2003).
class BandVocoder {
 public:
  explicit BandVocoder(const BandVocoderOptions& options);

  void clear() noexcept;

  /// Place of the next frame in the stretched sound.
  [[nodiscard]] Place next_frame() const noexcept { return next_; }
  /// True while the next frame adds to the sound before `place`.
  [[nodiscard]] bool starts_before(Place place) const noexcept {
    return next_ - static_cast<Place>(options_.window_samples / 2) < place;
  }
  /// Input place up to which samples and onsets must be known before `add_frame`.
  [[nodiscard]] double needs_input(const TimeMap& map) const noexcept;

  /// Adds the next frame. `input`: the band's ring. `map` must reach the frame's end.
  void add_frame(const SampleRing& input, const TimeMap& map, const OnsetList& onsets) noexcept;

  /// Adds [begin, begin + count) of the stretched band onto `target`, one span a channel, and
  /// forgets it. Requires all frames that start before the end to have been added.
  void take(Place begin, std::size_t count, SampleRing& target) noexcept;

 private:
  struct Edges {
    Place left;   // input before it is left out of the frame
    Place right;  // input from it on is left out
  };
  void load_frame(const SampleRing& input, Place centre) noexcept;
  void transform(std::vector<std::complex<float>>& spectra) noexcept;
  void shape_window(Place centre, Edges edges) noexcept;
  void find_peaks() noexcept;
  /// At a cut: sets the angles of what goes on sounding through it to where the old sound has got
  /// them by `place`, all others to 0. False if nothing does, and the angles are left alone.
  bool carry_over(const SampleRing& input, const Onset& cut, Place place) noexcept;
  /// Sum over channels and three bins of later * conj(earlier): how far a peak has turned.
  [[nodiscard]] std::complex<float> cross(const std::vector<std::complex<float>>& later,
                                          const std::vector<std::complex<float>>& earlier,
                                          std::size_t peak) const noexcept;
  /// Distance from a cut at which frames see one side of it only (but for 7 % of the window).
  [[nodiscard]] static constexpr std::size_t carry_reach(std::size_t window_samples) noexcept {
    return window_samples * 3 / 8;
  }
  void turn_regions() noexcept;
  void make_turned_samples() noexcept;
  [[nodiscard]] double reach(double advance) const noexcept;
  [[nodiscard]] float loudness(const SampleRing& input, Place end) const noexcept;
  void write_frame(Place place, const Onset* next_cut, float gain) noexcept;
  [[nodiscard]] std::span<std::complex<float>> bins(std::vector<std::complex<float>>& spectra,
                                                    std::size_t channel) noexcept {
    return std::span(spectra).subspan(channel * bin_count_, bin_count_);
  }

  BandVocoderOptions options_;
  RealFft fft_;
  std::size_t bin_count_;
  std::vector<float> window_;                // synthesis, and analysis where no edge is near
  std::vector<float> shaped_;                // analysis window of this frame
  std::vector<float> frames_;                // [channel][window] windowed input of this frame
  std::vector<std::complex<float>> now_;     // [channel][bin]
  std::vector<std::complex<float>> before_;  // [channel][bin], `hop - advance` earlier
  std::vector<std::complex<float>> turn_;    // [bin], unit length
  std::vector<std::complex<float>> turned_;
  std::vector<float> ramp_;           // [fade] rising raised cosine
  std::vector<float> power_;          // [bin]
  std::vector<std::uint32_t> peaks_;  // bins
  std::size_t peak_count_ = 0;
  std::vector<std::complex<float>> predicted_;  // [peak]
  std::vector<std::vector<float>> sum_;         // [channel][ring] of windowed output
  std::vector<float> weight_;                   // [ring] of windows

  // The sound being made: it starts at a cut.
  Onset cut_;                      // of the sound that frames belong to now
  std::size_t whole_samples_ = 0;  // of this sound
  bool fresh_ = true;              // no frame of this sound yet
  bool carries_ = false;           // some angles came over the cut
  bool untouched_ = true;          // all angles are still 0
  bool has_spectrum_ = false;      // now_ is that of the last frame
  bool is_plain_ = true;           // no edge touches the window of the last frame
  double centre_ = 0.0;            // input place of the last frame, before rounding
  Place last_centre_ = 0;
  Place last_lag_ = 0;
  Place last_ = 0;  // stretched place of the last frame
  Place next_ = 0;
  Place taken_ = 0;  // before it all is forgotten
};

}  // namespace lowstride::dsp::stretch
