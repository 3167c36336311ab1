#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "src/drill/item.hpp"

namespace lowstride::drill {

/// One tone of a sound that is made and not recorded.
struct Tone {
  double begin_seconds = 0.0;
  double length_seconds = 1.0;
  int midi = 48;
  bool is_dead = false;

  bool operator==(const Tone&) const = default;
};

/// Something to be sounded, for whoever has a loudspeaker. Orders of one turn follow each other.
struct SoundOrder {
  enum class Source : std::uint8_t { recording, tones };
  Source source = Source::tones;
  std::string what;                    // for people: "bar 5 at 60 %", "the tonic, G"
  std::string take_key;                // of the recording
  take::Stretch stretch;               // of the recording, in samples of the take
  double speed_ratio = 1.0;            // of the recording; tones are written at their own times
  bool is_accompaniment = false;       // the player's part is left out: the line, or the low voice
  std::vector<Tone> tones;             // in place of the recording, also where that is not there
  std::vector<double> clicks_seconds;  // from the order's start
  double a4_hz = 440.0;
  // Of a recording that is played over: the notes to take out, in seconds from the stretch's begin
  // at its own speed; its beats, in samples; and how long the count-in before it lasts.
  std::vector<Tone> left_out;
  std::vector<std::int64_t> beat_samples;
  int beats_per_bar = 4;
  double lead_seconds = 0.0;
  double length_seconds = 0.0;   // of the whole order
  double fade_in_seconds = 0.0;  // the volume rises over this time, as audio::FadeIn says

  bool operator==(const SoundOrder&) const = default;
};

/// An item's stretch at a speed: the recording, or without one its line and chords as tones.
[[nodiscard]] SoundOrder stretch_sound(const Item& item, double speed_ratio);
/// Notes of an item as tones.
[[nodiscard]] SoundOrder line_sound(const Item& item, std::span<const ItemNote> notes,
                                    double speed_ratio, std::string what);
/// The tonic of the tune, low and with its fifth above; of the first chord where no key is known.
[[nodiscard]] SoundOrder tonic_sound(const Item& item);
/// A chord, held for two seconds; `with` is a note that joins it, and may be none.
[[nodiscard]] SoundOrder chord_sound(const Item& item, const ItemChord& chord,
                                     std::optional<int> with);
/// What is played over: one bar of clicks, then the recording with the low voice taken out; without
/// one the stretch's chords and beats as they were played, without the line. The tones are those of
/// the latter either way, for when the recording is not at hand.
[[nodiscard]] SoundOrder accompaniment_sound(const Item& item, double speed_ratio);
/// Seconds of the clicks before the stretch in `accompaniment_sound`.
[[nodiscard]] double count_in_seconds(const Item& item, double speed_ratio) noexcept;

/// Where in an item's beats a moment of its sound lies: `seconds` after the stretch began at
/// `speed_ratio`, following the beats as they were played.
[[nodiscard]] double beat_heard_at(const Item& item, double speed_ratio, double seconds) noexcept;

}  // namespace lowstride::drill
