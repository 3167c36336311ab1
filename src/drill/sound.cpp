#include "src/drill/sound.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include <fmt/format.h>

#include "src/theory/chord_label.hpp"

namespace lowstride::drill {
namespace {

constexpr int middle_c_midi = 60;
constexpr double held_seconds = 2.0;

double stretch_seconds(const Item& item, double speed_ratio) {
  return static_cast<double>(item.stretch.end_samples - item.stretch.begin_samples) /
         static_cast<double>(item.time_base_hz) / speed_ratio;
}

double seconds_of_beat(const Item& item, double beat, double speed_ratio) {
  return (sample_of_beat(item, beat) - static_cast<double>(item.stretch.begin_samples)) /
         static_cast<double>(item.time_base_hz) / speed_ratio;
}

std::string at_speed(const Item& item, double speed_ratio) {
  return fmt::format("{} at {:.0f} %", item.place, 100.0 * speed_ratio);
}

/// Close position from middle C up, as a pianist's right hand would hold it.
void add_chord(std::vector<Tone>& tones, const dsp::ChordReading& chord, double begin,
               double length) {
  if (!chord.root_pc) return;
  const unsigned mask = dsp::chord_tone_mask(chord.quality);
  for (int semitones = 0; semitones < 12; ++semitones) {
    if (((mask >> static_cast<unsigned>(semitones)) & 1U) == 0U) continue;
    tones.push_back({begin, length, middle_c_midi + (*chord.root_pc + semitones) % 12, false});
  }
}

void add_chords(const Item& item, double speed_ratio, std::vector<Tone>& tones) {
  const double end = stretch_seconds(item, speed_ratio);
  for (std::size_t i = 0; i < item.chords.size(); ++i) {
    const double from = std::max(0.0, seconds_of_beat(item, item.chords[i].beat, speed_ratio));
    const double to = i + 1 < item.chords.size()
                          ? seconds_of_beat(item, item.chords[i + 1].beat, speed_ratio)
                          : end;
    if (std::min(to, end) - from > 0.05)
      add_chord(tones, item.chords[i].chord, from, std::min(to, end) - from);
  }
}

void add_line(const Item& item, std::span<const ItemNote> notes, double speed_ratio,
              std::vector<Tone>& tones) {
  for (const ItemNote& note : notes) {
    const double from = std::max(0.0, seconds_of_beat(item, note.beat, speed_ratio));
    const double to = seconds_of_beat(item, note.beat + note.length_beats, speed_ratio);
    tones.push_back({from, std::max(0.05, to - from), note.midi, note.is_dead});
  }
}

}  // namespace

SoundOrder stretch_sound(const Item& item, double speed_ratio) {
  SoundOrder order;
  order.take_key = item.take_key;
  order.stretch = item.stretch;
  order.speed_ratio = speed_ratio;
  order.a4_hz = item.a4_hz;
  order.length_seconds = stretch_seconds(item, speed_ratio);
  order.what = at_speed(item, speed_ratio);
  if (item.has_recording) {
    order.source = SoundOrder::Source::recording;
    return order;
  }
  add_line(item, item.notes, speed_ratio, order.tones);
  add_chords(item, speed_ratio, order.tones);
  return order;
}

SoundOrder line_sound(const Item& item, std::span<const ItemNote> notes, double speed_ratio,
                      std::string what) {
  SoundOrder order;
  order.what = std::move(what);
  order.take_key = item.take_key;
  order.a4_hz = item.a4_hz;
  order.length_seconds = stretch_seconds(item, speed_ratio);
  add_line(item, notes, speed_ratio, order.tones);
  return order;
}

SoundOrder tonic_sound(const Item& item) {
  SoundOrder order;
  order.take_key = item.take_key;
  order.a4_hz = item.a4_hz;
  order.length_seconds = held_seconds;
  int tonic = 0;
  if (item.tune_key) {
    tonic = item.tune_key->tonic_pc;
    order.what = fmt::format("the tonic, {}", theory::to_text(theory::key_name(*item.tune_key)));
  } else if (!item.chords.empty() && item.chords.front().chord.root_pc) {
    tonic = *item.chords.front().chord.root_pc;
    order.what = "the root of the first chord";
  } else {
    return order;
  }
  const int low = 36 + tonic;
  order.tones = {{0.0, held_seconds, low, false},
                 {0.0, held_seconds, low + 7, false},
                 {0.0, held_seconds, low + 12, false}};
  return order;
}

SoundOrder chord_sound(const Item& item, const ItemChord& chord, std::optional<int> with) {
  SoundOrder order;
  order.what = with ? "the chord with the note" : "the chord";
  order.take_key = item.take_key;
  order.a4_hz = item.a4_hz;
  order.length_seconds = held_seconds;
  add_chord(order.tones, chord.chord, 0.0, held_seconds);
  if (with) order.tones.push_back({0.0, held_seconds, *with, false});
  return order;
}

double count_in_seconds(const Item& item, double speed_ratio) noexcept {
  return item.beats_per_bar * item.seconds_per_beat() / speed_ratio;
}

SoundOrder accompaniment_sound(const Item& item, double speed_ratio) {
  SoundOrder order = stretch_sound(item, speed_ratio);
  const double lead = count_in_seconds(item, speed_ratio);
  order.is_accompaniment = true;
  order.lead_seconds = lead;
  order.beats_per_bar = item.beats_per_bar;
  order.beat_samples = item.beat_samples;
  add_line(item, item.notes, 1.0, order.left_out);
  order.tones.clear();
  add_chords(item, speed_ratio, order.tones);
  for (Tone& tone : order.tones) tone.begin_seconds += lead;
  for (int beat = 0; beat < item.beats_per_bar; ++beat) {
    order.clicks_seconds.push_back(lead * beat / item.beats_per_bar);
  }
  for (std::size_t i = 0; i + 1 < item.beat_samples.size(); ++i) {
    order.clicks_seconds.push_back(lead +
                                   seconds_of_beat(item, static_cast<double>(i), speed_ratio));
  }
  order.length_seconds += lead;
  order.what = fmt::format("a bar of clicks, then {} {}",
                           item.has_recording ? "without its low voice" : "the chords of",
                           at_speed(item, speed_ratio));
  return order;
}

double beat_heard_at(const Item& item, double speed_ratio, double seconds) noexcept {
  return beat_of_sample(item, static_cast<double>(item.stretch.begin_samples) +
                                  seconds * speed_ratio * static_cast<double>(item.time_base_hz));
}

}  // namespace lowstride::drill
