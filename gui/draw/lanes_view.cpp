#include "gui/draw/lanes_view.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include <fmt/format.h>

#include "src/neck/named_necks.hpp"
#include "src/take/proposals.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::desk {
namespace {

class LanesPainter {
 public:
  LanesPainter(const Brush& brush, const LanesScene& scene)
      : b_(brush), s_(scene), l_(scene.layout), t_(brush.theme) {}

  void paint() {
    b_.fill(l_.area, t_.background);
    headings();
    clip(true);
    grid();
    range();
    passages();
    remarks();
    chords();
    strings();
    labels();
    waveform();
    lens();
    playhead();
    clip(false);
  }

 private:
  void clip(bool is_on) {
    if (is_on) {
      b_.list.PushClipRect({l_.axis.left_px, l_.area.y0}, {l_.area.x1, l_.area.y1}, true);
    } else {
      b_.list.PopClipRect();
    }
  }
  [[nodiscard]] const Rect* open_lane(LaneKind kind) const {
    const LaneBox* lane = l_.lane(kind);
    return lane == nullptr || lane->is_folded ? nullptr : &lane->rect;
  }
  [[nodiscard]] float px(double value) const { return static_cast<float>(value) * b_.scale; }
  [[nodiscard]] Colour mark_of(const NoteBox& note) const {
    return note.is_confirmed ? t_.confirmed : note.is_doubt ? t_.doubt : t_.proposed;
  }

  void headings();
  void grid();
  void range();
  void passages();
  void remarks();
  void chords();
  [[nodiscard]] std::pair<std::string, float> fitted(std::string name, float size,
                                                     float room) const;
  void strings();
  void note(const NoteBox& box);
  void column(const NoteBox& box);
  void labels();
  void waveform();
  void lens();
  void playhead();

  const Brush& b_;
  const LanesScene& s_;
  const LaneLayout& l_;
  const Theme& t_;
};

void LanesPainter::headings() {
  for (const LaneBox& lane : l_.lanes) {
    b_.fill(lane.heading, t_.panel);
    if (lane.is_folded) {
      b_.line({lane.heading.x0 + px(8), lane.heading.middle_y()},
              {lane.heading.x0 + px(26), lane.heading.middle_y()}, t_.faint_text, px(1.5));
      continue;
    }
    const float text_px = b_.fonts.small->FontSize;
    if (lane.kind == LaneKind::strings) {
      const std::vector<std::string> names = neck::string_names(s_.take.neck);
      for (std::size_t i = 0; i < names.size() && i < l_.string_ys.size(); ++i) {
        b_.text(b_.fonts.text, b_.fonts.text->FontSize, {lane.heading.x1 - px(22), l_.string_ys[i]},
                t_.text, names[i]);
      }
      continue;
    }
    b_.text(b_.fonts.small, text_px, {lane.heading.x0 + px(8), lane.heading.middle_y()},
            t_.faint_text, lane_name(lane.kind));
  }
}

void LanesPainter::grid() {
  for (const LaneBox& lane : l_.lanes) {
    if (lane.is_folded) {
      b_.line({lane.rect.x0, lane.rect.middle_y()}, {lane.rect.x1, lane.rect.middle_y()},
              t_.beat_line);
    }
  }
  const Rect* counts = open_lane(LaneKind::counts);
  const Rect* staff = open_lane(LaneKind::strings);
  const Rect* ruler = open_lane(LaneKind::ruler);
  const float top = ruler != nullptr ? ruler->y1 - px(6) : l_.area.y0;
  const float bottom = l_.lanes.empty() ? l_.area.y1 : l_.lanes.back().rect.y1;
  for (const BeatMark& beat : l_.beats) {
    if (!beat.is_bar) {
      b_.line({beat.x, top + px(8)}, {beat.x, bottom}, t_.beat_line);
      continue;
    }
    b_.line({beat.x, top}, {beat.x, bottom}, t_.bar_line, 1.0F, 0.4);
    if (staff != nullptr && !l_.string_ys.empty()) {
      b_.line({beat.x, l_.string_ys.front()}, {beat.x, l_.string_ys.back()}, t_.bar_line,
              std::max(1.0F, px(1.2)));
    }
  }
  if (counts != nullptr) {
    for (const BeatMark& beat : l_.beats) {
      if (beat.is_selected) {
        b_.outline({beat.x - px(9), counts->y0 + 1, beat.x + px(9), counts->y1 - 1}, t_.selection,
                   px(4), px(1.5));
      }
      if (beat.is_confirmed) {
        b_.fill({beat.x - px(4), counts->y1 - px(3), beat.x + px(4), counts->y1 - px(1)},
                t_.confirmed);
      }
    }
  }
  if (ruler != nullptr) {
    for (const Label& number : l_.bar_numbers) {
      b_.text(b_.fonts.small, b_.fonts.small->FontSize,
              {number.x + px(3), ruler->y0 + ruler->height() * 0.42F}, t_.faint_text, number.text);
    }
  }
}

void LanesPainter::range() {
  const Rect* ruler = open_lane(LaneKind::ruler);
  std::optional<take::Stretch> range = s_.state.range;
  if (const auto* draft = std::get_if<RangeDraft>(&s_.state.draft)) range = draft->stretch;
  if (!range) return;
  const float x0 = l_.axis.px(static_cast<double>(range->begin_samples));
  const float x1 = l_.axis.px(static_cast<double>(range->end_samples));
  const float bottom = l_.lanes.empty() ? l_.area.y1 : l_.lanes.back().rect.y1;
  b_.fill({x0, l_.area.y0, x1, bottom}, t_.loop, s_.state.is_loop_on ? 0.12 : 0.06);
  if (ruler != nullptr) {
    const Rect bar{x0, ruler->y1 - px(6), x1, ruler->y1 - px(1)};
    if (s_.state.is_loop_on) {
      b_.fill(bar, t_.loop, 1.0, px(2));
    } else {
      b_.outline(bar, t_.loop, px(2));
    }
  }
}

void LanesPainter::passages() {
  const Rect* lane = open_lane(LaneKind::passages);
  if (lane == nullptr) return;
  for (const PassageBox& passage : l_.passages) {
    const Colour colour = t_.passages[passage.colour];
    const Rect box{passage.rect.x0 + 1.0F, passage.rect.y0 + px(1), passage.rect.x1 - 1.0F,
                   passage.rect.y1 - px(1)};
    b_.fill(box, mixed(t_.background, colour, 0.3), 1.0, px(3));
    b_.fill({box.x0, box.y0, box.x0 + px(4), box.y1}, colour);
    if (passage.is_selected) b_.outline(box, t_.selection, px(3), px(1.5));
    b_.list.PushClipRect({box.x0, box.y0}, {box.x1, box.y1}, true);
    b_.text(b_.fonts.small, b_.fonts.small->FontSize, {box.x0 + px(8), box.middle_y()}, t_.text,
            passage.name);
    b_.list.PopClipRect();
  }
  if (l_.passages.empty()) {
    b_.text(b_.fonts.small, b_.fonts.small->FontSize, {lane->x0 + px(8), lane->middle_y()},
            t_.faint_text,
            s_.take.passages.empty() ? "drag over the bar numbers, then P: a passage" : "");
  }
}

/// A flag on its pole: the pole at the place, the words beside it.
void LanesPainter::remarks() {
  const Rect* lane = open_lane(LaneKind::remarks);
  if (lane == nullptr) return;
  const float size = b_.fonts.small->FontSize;
  for (const RemarkBox& remark : l_.remarks) {
    const float width = std::min(remark.rect.width(),
                                 Brush::text_width(b_.fonts.small, size, remark.text) + px(12));
    const Rect box{remark.rect.x0, remark.rect.y0 + px(1), remark.rect.x0 + width,
                   remark.rect.y1 - px(1)};
    b_.fill(box, t_.field, 1.0, px(2));
    b_.fill({box.x0, box.y0, box.x0 + px(2), remark.is_of_note ? lane->y1 + px(2) : box.y1},
            t_.text);
    if (remark.is_selected) b_.outline(box, t_.selection, px(2), px(1.5));
    b_.list.PushClipRect({std::max(box.x0, l_.axis.left_px), box.y0}, {box.x1, box.y1}, true);
    b_.text(b_.fonts.small, size, {box.x0 + px(6), box.middle_y()}, t_.text, remark.text);
    b_.list.PopClipRect();
  }
}

/// A chord's name in its box: smaller where it must be, and cut where that is not enough, so that
/// it can be seen; half of "Dm6" would be another chord.
std::pair<std::string, float> LanesPainter::fitted(std::string name, float size, float room) const {
  constexpr float least_share = 0.65F;
  const float width = Brush::text_width(b_.fonts.number, size, name);
  if (width <= room) return {std::move(name), size};
  size *= std::max(least_share, room / width);
  std::string shown = name;
  while (!name.empty() && Brush::text_width(b_.fonts.number, size, shown) > room) {
    // A letter of UTF-8 goes as a whole.
    while (name.size() > 1 && (static_cast<unsigned char>(name.back()) & 0xC0U) == 0x80U) {
      name.pop_back();
    }
    name.pop_back();
    shown = name + "…";
  }
  return {std::move(shown), size};
}

void LanesPainter::chords() {
  const Rect* lane = open_lane(LaneKind::chords);
  if (lane == nullptr) return;
  const float text_px = b_.fonts.number->FontSize * 0.94F;
  for (const ChordBox& chord : l_.chords) {
    const Rect box{chord.rect.x0, chord.rect.y0 + px(2), chord.rect.x1 - px(1),
                   chord.rect.y1 - px(2)};
    const Colour mark = chord.is_confirmed ? t_.confirmed : chord.is_doubt ? t_.doubt : t_.proposed;
    b_.fill(box,
            chord.is_confirmed ? t_.chip_confirmed
            : chord.is_doubt   ? t_.chip_doubt
                               : t_.chip,
            chord.is_confirmed || chord.is_doubt ? 0.75 : 1.0, px(3));
    b_.fill({box.x0, box.y0, box.x0 + std::min(px(3), box.width()), box.y1}, mark);
    if (chord.is_selected) b_.outline(box, t_.selection, px(3), px(2));
    if (chord.text.empty()) continue;
    b_.list.PushClipRect({std::max(box.x0, l_.axis.left_px), box.y0}, {box.x1, box.y1}, true);
    const float x = std::max(box.x0, l_.axis.left_px) + px(6);
    const float room = box.x1 - x - px(2);
    const float sign = chord.is_doubt ? Brush::text_width(b_.fonts.number, text_px, "?") : 0.0F;
    auto fit = fitted(chord.text, text_px, room - sign - px(2));
    // The name before the sign: the box has the colour of doubt anyway.
    const bool has_sign = chord.is_doubt && fit.first == chord.text;
    if (!has_sign) fit = fitted(chord.text, text_px, room);
    const auto& [shown, size] = fit;
    b_.text(b_.fonts.number, size, {x, box.middle_y()}, t_.text, shown);
    if (has_sign) {
      const float width = Brush::text_width(b_.fonts.number, size, shown);
      b_.text(b_.fonts.number, text_px, {x + width + px(2), box.middle_y()}, t_.text, "?");
    }
    b_.list.PopClipRect();
  }
}

/// The ranked candidates of a note as a column: how likely each is, the one chosen at the bottom.
void LanesPainter::column(const NoteBox& box) {
  const take::Note& note = s_.take.notes[box.index];
  const float x1 = box.chip.x0 - px(1.5);
  const float x0 = x1 - px(4);
  const float height = box.chip.height();
  float y = box.chip.y1;
  const auto part = [&](double share, Colour colour) {
    const float top = std::max(box.chip.y0, y - height * static_cast<float>(share));
    if (y - top >= 1.0F) b_.fill({x0, top, x1, y - 0.5F}, colour);
    y = top;
  };
  b_.fill({x0, box.chip.y0, x1, box.chip.y1}, t_.beat_line);
  // A sure note's column stays in the background; a doubtful one's speaks up.
  part(note.confidence, box.is_doubt ? mark_of(box) : mixed(t_.background, mark_of(box), 0.55));
  bool is_first = true;
  for (const dsp::PitchCandidate& other : note.alternatives) {
    part(other.probability, is_first ? t_.alternative : mixed(t_.alternative, t_.background, 0.4));
    is_first = false;
  }
}

void LanesPainter::note(const NoteBox& box) {
  const Colour mark = mark_of(box);
  const double alpha = box.is_draft ? 0.7 : 1.0;
  b_.fill({box.chip.x1 - px(1), box.sound.y0, std::max(box.sound.x1 - px(1), box.chip.x1),
           box.sound.y1},
          mark, alpha * 0.85, 0.0F);
  const Colour chip = box.is_confirmed ? t_.chip_confirmed : box.is_doubt ? t_.chip_doubt : t_.chip;
  const float rounding = px(4);
  b_.fill(box.chip, t_.background, 1.0, rounding);
  b_.fill(box.chip, chip, alpha, rounding);
  if (box.is_selected) {
    const Rect ring{box.chip.x0 - px(1.5), box.chip.y0 - px(1.5), box.chip.x1 + px(1.5),
                    box.chip.y1 + px(1.5)};
    b_.outline(ring, t_.selection, rounding, px(2));
  } else if (box.is_doubt) {
    b_.outline(box.chip, t_.doubt, rounding, px(1.2));
  }
  b_.text(b_.fonts.number, box.number_px, {box.chip.x0 + px(3), box.chip.middle_y()}, t_.text,
          box.text);
  if (box.has_column) column(box);
}

void LanesPainter::strings() {
  const Rect* lane = open_lane(LaneKind::strings);
  if (lane == nullptr) return;
  for (std::size_t i = 0; i < l_.string_ys.size(); ++i) {
    // Low strings are thicker.
    const float thickness = px(0.9 + 0.35 * static_cast<double>(i));
    b_.line({lane->x0, l_.string_ys[i]}, {lane->x1, l_.string_ys[i]}, t_.string_line, thickness);
  }
  for (const NoteTick& tick : l_.ticks) {
    b_.fill(tick.rect, tick.has_doubt ? t_.doubt : tick.is_confirmed ? t_.confirmed : t_.proposed);
  }
  for (const NoteBox& box : l_.notes) note(box);
  if (const auto* box = std::get_if<BoxDraft>(&s_.state.draft)) {
    const Rect rect{std::min(box->from.x, box->to.x), std::min(box->from.y, box->to.y),
                    std::max(box->from.x, box->to.x), std::max(box->from.y, box->to.y)};
    b_.fill(rect, t_.selection, 0.12);
    b_.outline(rect, t_.selection);
  }
}

void LanesPainter::labels() {
  const auto row = [&](LaneKind kind, const std::vector<Label>& labels, float shift) {
    const Rect* lane = open_lane(kind);
    if (lane == nullptr) return;
    const float text_px = b_.fonts.small->FontSize;
    for (const Label& label : labels) {
      const float half = shift * Brush::text_width(b_.fonts.small, text_px, label.text);
      b_.text(b_.fonts.small, text_px, {label.x - half, lane->middle_y()},
              label.is_faint ? t_.faint_text : t_.text, label.text);
    }
  };
  row(LaneKind::counts, l_.counts, 0.5F);
  row(LaneKind::roles, l_.roles, 0.0F);
}

void LanesPainter::waveform() {
  const Rect* lane = open_lane(LaneKind::waveform);
  if (lane == nullptr || s_.levels == nullptr) return;
  draw_waveform(b_, *s_.levels, l_.axis, *lane, t_.waveform);
}

/// The low register's evidence, pitch by pitch, with the line as written laid over it.
void LanesPainter::lens() {
  const Rect* lane = open_lane(LaneKind::lens);
  if (lane == nullptr) return;
  const float small = b_.fonts.small->FontSize;
  const auto say = [&](std::string_view sentence) {
    b_.text(b_.fonts.small, small, {lane->x0 + px(8), lane->middle_y()}, t_.faint_text, sentence);
  };
  if (s_.evidence == nullptr || s_.evidence->frame_count() == 0) {
    say("No evidence is kept for this take; listen again (Take panel) to see it.");
    return;
  }
  const auto rate = static_cast<double>(s_.take.time_base_hz);
  const double first = dsp::seconds_frame(std::max(0.0, l_.axis.begin_samples) / rate);
  const double last = dsp::seconds_frame(l_.axis.end_samples() / rate);
  const double columns = l_.axis.width_px / px(2.0);
  const double step = std::max(1.0, (last - first) / columns);
  if (step > 16.0) {
    say("Zoom in to see what the low register says here.");
    return;
  }
  // The pitches of the neck and a little around them.
  const int low = std::max(dsp::lowest_evidence_midi,
                           neck::lowest_midi(s_.take.neck) - 12 * s_.take.octave_shift - 2);
  const int high = std::min(
      dsp::lowest_evidence_midi + static_cast<int>(dsp::evidence_pitch_count) - 1, low + 34);
  const float row_px = lane->height() / static_cast<float>(high - low + 1);
  const auto y_of = [&](int midi) {
    return lane->y1 - static_cast<float>(midi - low + 1) * row_px;
  };
  const auto key = s_.take.key
                       ? std::optional(theory::Key{s_.take.key->tonic_pc, s_.take.key->is_minor})
                       : std::nullopt;
  for (int midi = low; midi <= high; ++midi) {
    if (midi % 12 != neck::lowest_midi(s_.take.neck) % 12) continue;
    b_.line({lane->x0, y_of(midi) + row_px / 2}, {lane->x1, y_of(midi) + row_px / 2}, t_.beat_line);
    b_.text(b_.fonts.small, small, {lane->x0 + px(3), y_of(midi) + row_px / 2}, t_.faint_text,
            theory::pitch_text(midi, key));
  }
  const auto steps = static_cast<std::int64_t>(std::ceil((last - first) / step));
  for (std::int64_t i = 0; i < steps; ++i) {
    const double frame = first + static_cast<double>(i) * step;
    const auto index = static_cast<std::size_t>(frame);
    if (index >= s_.evidence->frame_count()) break;
    const auto row = s_.evidence->pitch.row(index);
    const float x0 = l_.axis.px(dsp::frame_seconds(frame - 0.5) * rate);
    const float x1 = l_.axis.px(dsp::frame_seconds(frame - 0.5 + step) * rate);
    for (int midi = low; midi <= high; ++midi) {
      const float value = row[static_cast<std::size_t>(midi - dsp::lowest_evidence_midi)];
      if (value < 0.04F) continue;
      b_.fill({x0, y_of(midi) + 0.5F, std::max(x1, x0 + 1.0F), y_of(midi) + row_px - 0.5F},
              t_.evidence, std::sqrt(value));
    }
  }
  for (const NoteBox& box : l_.notes) {
    const take::Note& note = s_.take.notes[box.index];
    b_.outline({box.sound.x0, y_of(note.midi), box.sound.x1 - px(1), y_of(note.midi) + row_px},
               box.is_selected ? t_.selection
               : box.is_doubt  ? t_.doubt
                               : t_.text,
               0.0F, 1.0F);
  }
}

void LanesPainter::playhead() {
  const float bottom = l_.lanes.empty() ? l_.area.y1 : l_.lanes.back().rect.y1;
  const auto draw = [&](double sample, double alpha, float thickness) {
    const float x = std::floor(l_.axis.px(sample)) + 0.5F;
    b_.line({x, l_.area.y0}, {x, bottom}, t_.playhead, thickness, alpha);
    b_.list.AddTriangleFilled({x - px(5), l_.area.y0}, {x + px(5), l_.area.y0},
                              {x, l_.area.y0 + px(7)}, packed(t_.playhead, alpha));
  };
  if (s_.state.playing_samples) {
    draw(s_.state.cursor_samples, 0.4, 1.0F);
    draw(*s_.state.playing_samples, 1.0, px(2));
  } else {
    draw(s_.state.cursor_samples, 1.0, px(2));
  }
}

}  // namespace

void draw_lanes(const Brush& brush, const LanesScene& scene) { LanesPainter(brush, scene).paint(); }

}  // namespace lowstride::desk
