#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace lowstride::audio {

struct PitchListenerOptions {
  double sample_rate_hz = 44100.0;
  double a4_hz = 440.0;
  int lowest_midi = 23;       // B0, the low string of a five-string bass
  int highest_midi = 76;      // E5, the twelfth fret of a guitar's highest string
  double silence_db = -50.0;  // below this level (of full scale) nothing is played
};

/// A note as it was played or sung.
struct HeardNote {
  double onset_seconds = 0.0;   // since the first sample
  double offset_seconds = 0.0;  // its sound ended, or the next note began
  int midi = 0;
  double cents = 0.0;       // off that pitch, -50 .. 50
  double confidence = 0.0;  // 0..1: how periodic it was, and how sure its octave

  bool operator==(const HeardNote&) const = default;
};

/// For a meter and a tuner: the state of the latest tenth of a second.
struct InputReading {
  double level_db = -120.0;          // root mean square, of full scale
  double peak = 0.0;                 // 0..1, and over 1 where the input clips
  std::optional<double> pitch_midi;  // with fraction; nothing while nothing periodic sounds
};

/// The nearest open string of a neck, and how far off it the sound is.
struct TunerReading {
  int string_number = 1;  // 1 = highest
  int string_midi = 0;
  double cents = 0.0;  // negative: flat

  bool operator==(const TunerReading&) const = default;
};
/// `open_midi`: lowest string first. Nothing when no string lies within three half steps.
[[nodiscard]] std::optional<TunerReading> tune(std::span<const int> open_midi, double pitch_midi);

/// Hears one note after another in a signal that comes in pieces. Onsets: aubio's spectral flux;
/// pitch: aubio's yinfast (the difference function of de Cheveigné & Kawahara, JASA 111(4), 2002,
/// by FFT) over 93 ms, long enough for a B0; the octave by comparing how much of the spectrum each
/// candidate's partials explain. A constant offset is taken out first (below 10 Hz). A note's pitch
/// is decided from what was heard within `decision_seconds()` of its onset. How the signal is cut
/// into pieces changes nothing. One thread; the constructor takes FFTW plans, so call
/// fftwf_make_planner_thread_safe() first.
class PitchListener {
 public:
  /// Requires a sample rate of 8,000 or more and lowest_midi < highest_midi within 0..127.
  explicit PitchListener(const PitchListenerOptions& options);
  PitchListener(PitchListener&&) noexcept;
  PitchListener& operator=(PitchListener&&) noexcept;
  ~PitchListener();

  void push(std::span<const float> samples);
  /// No more will come: the note that sounds ends here.
  void finish();

  /// Notes that have ended, in order.
  [[nodiscard]] const std::vector<HeardNote>& notes() const noexcept;
  /// The note that sounds, once its pitch is decided; it ends now.
  [[nodiscard]] std::optional<HeardNote> sounding() const;
  /// Nothing sounds: the last of `notes()` stands as it is.
  [[nodiscard]] bool is_silent() const noexcept;

  [[nodiscard]] InputReading reading() const noexcept;
  /// Seconds that have been pushed.
  [[nodiscard]] double heard_seconds() const noexcept;

  /// From a note's onset to the decision on its pitch, at most.
  [[nodiscard]] static double decision_seconds() noexcept { return 0.25; }

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

/// All notes of a signal at once.
[[nodiscard]] std::vector<HeardNote> hear_notes(std::span<const float> samples,
                                                const PitchListenerOptions& options = {});

}  // namespace lowstride::audio
