#include "src/audio/score_voices.hpp"

#include <algorithm>
#include <cmath>

#include "dsp/voices/click.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::audio {
namespace {

constexpr double strum_seconds = 0.007;       // from string to string of a stab
constexpr double nearly_over_seconds = 0.06;  // a note with less left is not struck after a jump

dsp::PluckOptions string_options(double sample_rate_hz) {
  return {.sample_rate_hz = sample_rate_hz, .lowest_hz = 14.0};
}

}  // namespace

ScoreVoices::ScoreVoices(double sample_rate_hz)
    : sample_rate_hz_(sample_rate_hz),
      score_(std::make_shared<const Score>()),
      line_(line_string_count, dsp::PluckedString(string_options(sample_rate_hz))),
      chords_(2 * chord_string_count, dsp::PluckedString(string_options(sample_rate_hz))) {
  dsp::ClickOptions options;
  options.sample_rate_hz = sample_rate_hz;
  options.gain_db = -3.0;
  plain_click_ = dsp::make_click(options);
  options.gain_db = 0.0;
  options.pitch_hz *= 4.0 / 3.0;
  accent_click_ = dsp::make_click(options);
}

void ScoreVoices::set_score(std::shared_ptr<const Score> score, double place) {
  score_ = std::move(score);
  is_in_three_.assign(score_->beats.size(), false);
  for (std::size_t i = 0; i < score_->beats.size(); ++i) {
    is_in_three_[i] = beats_in_bar(score_->beats, i) == 3;
  }
  find_events(place);
}

void ScoreVoices::find_events(double place) {
  const auto first = [&](const auto& list, auto member) {
    const auto found = std::partition_point(list.begin(), list.end(), [&](const auto& one) {
      return static_cast<double>(one.*member) < place;
    });
    return static_cast<std::size_t>(found - list.begin());
  };
  next_note_ = first(score_->notes, &ScoreNote::onset_samples);
  next_chord_ = first(score_->chords, &ScoreChord::begin_samples);
  next_beat_ = first(score_->beats, &PracticeBeat::time_samples);
}

void ScoreVoices::jump(double place, bool is_silent) {
  for (auto* strings : {&line_, &chords_}) {
    for (dsp::PluckedString& string : *strings) {
      if (is_silent) {
        string.reset();
      } else {
        string.damp();
      }
    }
  }
  for (Delayed& one : strum_) one.is_due = false;
  if (is_silent) clicks_ = {};
  is_line_held_ = is_chord_held_ = false;
  find_events(place);
  const auto has_time_left = [&](std::int64_t end) {
    return static_cast<double>(end) - place > nearly_over_seconds * sample_rate_hz_;
  };
  if (next_note_ > 0 && has_time_left(score_->notes[next_note_ - 1].offset_samples)) {
    strike_note(score_->notes[next_note_ - 1]);
  }
  if (next_chord_ > 0 && has_time_left(score_->chords[next_chord_ - 1].end_samples)) {
    strike_chord(score_->chords[next_chord_ - 1]);
  }
}

double ScoreVoices::hz(double pitch_midi) const {
  return theory::frequency_hz(pitch_midi + settings_.shift_semitones, score_->a4_hz);
}

void ScoreVoices::strike_note(const ScoreNote& note) {
  for (dsp::PluckedString& string : line_) string.damp();
  line_turn_ = (line_turn_ + 1) % line_.size();
  line_[line_turn_].strike({.f0_hz = hz(note.pitch_midi),
                            .strength = note.is_dead ? 0.5 : 0.8,
                            .decay_scale = note.is_dead ? 0.02 : 1.0});
  line_ends_ = static_cast<double>(note.offset_samples);
  is_line_held_ = true;
}

void ScoreVoices::strike_chord(const ScoreChord& chord) {
  for (dsp::PluckedString& string : chords_) string.damp();
  chord_turn_ = 1 - chord_turn_;
  const std::size_t count = std::min(chord.pitches_midi.size(), chord_string_count);
  for (std::size_t i = 0; i < count; ++i) {
    strum_[chord_turn_ * chord_string_count + i] = {
        hz(chord.pitches_midi[i]),
        static_cast<std::size_t>(strum_seconds * static_cast<double>(i) * sample_rate_hz_), true};
  }
  chord_ends_ = static_cast<double>(chord.end_samples);
  is_chord_held_ = true;
}

void ScoreVoices::strike_click(bool is_accent) {
  for (Click& click : clicks_) {
    if (click.sound != nullptr) continue;
    click = {is_accent ? &accent_click_ : &plain_click_, 0};
    return;
  }
}

void ScoreVoices::ring(PlayChunk& chunk, std::size_t begin, std::size_t count) {
  if (count == 0) return;
  const auto line = chunk.voice(PlayChunk::line, begin, count);
  for (dsp::PluckedString& string : line_) string.add_to(line);
  const auto chords = chunk.voice(PlayChunk::chords, begin, count);
  for (std::size_t i = 0; i < chords_.size(); ++i) {
    Delayed& delayed = strum_[i];
    std::size_t waited = 0;
    if (delayed.is_due && delayed.wait_samples >= count) {
      delayed.wait_samples -= count;
    } else if (delayed.is_due) {
      waited = delayed.wait_samples;
      chords_[i].add_to(chords.first(waited), 0.5F);
      chords_[i].strike({.f0_hz = delayed.f0_hz, .strength = 0.6, .decay_scale = 0.4});
      delayed.is_due = false;
    }
    chords_[i].add_to(chords.subspan(waited), 0.5F);
  }
  const auto clicks = chunk.voice(PlayChunk::click, begin, count);
  for (Click& click : clicks_) {
    if (click.sound == nullptr) continue;
    const std::size_t left = std::min(count, click.sound->size() - click.place);
    for (std::size_t i = 0; i < left; ++i) clicks[i] += (*click.sound)[click.place + i];
    click.place += left;
    if (click.place == click.sound->size()) click.sound = nullptr;
  }
}

void ScoreVoices::render(PlayChunk& chunk, std::size_t begin, std::size_t count, double from_place,
                         double to_place, const ScoreVoicesSettings& settings) {
  settings_ = settings;
  std::size_t done = 0;
  const auto offset_of = [&](double place) {
    if (to_place <= from_place) return done;
    const double share = (place - from_place) / (to_place - from_place);
    const auto offset = static_cast<std::size_t>(std::lround(
        std::clamp(share * static_cast<double>(count), 0.0, static_cast<double>(count))));
    return std::clamp(offset, done, count);
  };
  while (true) {
    // The event that comes first, and there the stops before the strokes.
    double place = to_place;
    enum class Event : std::uint8_t { none, line_end, chord_end, note, chord, beat };
    Event event = Event::none;
    const auto consider = [&](double at, Event kind) {
      if (at < place) {
        place = at;
        event = kind;
      }
    };
    if (is_line_held_) consider(line_ends_, Event::line_end);
    if (is_chord_held_) consider(chord_ends_, Event::chord_end);
    if (next_note_ < score_->notes.size()) {
      consider(static_cast<double>(score_->notes[next_note_].onset_samples), Event::note);
    }
    if (next_chord_ < score_->chords.size()) {
      consider(static_cast<double>(score_->chords[next_chord_].begin_samples), Event::chord);
    }
    if (next_beat_ < score_->beats.size()) {
      consider(static_cast<double>(score_->beats[next_beat_].time_samples), Event::beat);
    }
    const std::size_t until = event == Event::none ? count : offset_of(place);
    ring(chunk, begin + done, until - done);
    done = until;
    switch (event) {
      case Event::none:
        return;
      case Event::line_end:
        for (dsp::PluckedString& string : line_) string.damp();
        is_line_held_ = false;
        break;
      case Event::chord_end:
        for (dsp::PluckedString& string : chords_) string.damp();
        is_chord_held_ = false;
        break;
      case Event::note:
        strike_note(score_->notes[next_note_++]);
        break;
      case Event::chord:
        strike_chord(score_->chords[next_chord_++]);
        break;
      case Event::beat: {
        const PracticeBeat& beat = score_->beats[next_beat_];
        if (is_clicked(beat, settings.click, is_in_three_[next_beat_]))
          strike_click(beat.beat == 1);
        ++next_beat_;
        break;
      }
    }
  }
}

}  // namespace lowstride::audio
