#include "gui/draw/neck_view.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "src/neck/named_necks.hpp"
#include "src/take/harmony.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::desk {
namespace {

/// Where strings and frets are. Frets are drawn at their true distances, so that the hand knows
/// them.
struct NeckFrame {
  Rect board;
  std::vector<float> string_xs;  // [string_number - 1]
  std::vector<float> fret_ys;    // [fret]: 0 = the nut
};

NeckFrame frame_of(const NeckScene& scene, const Rect& rect, float scale) {
  const neck::Neck& neck = scene.take.neck;
  NeckFrame frame;
  frame.board = {rect.x0 + 30.0F * scale, rect.y0 + 34.0F * scale, rect.x1 - 14.0F * scale,
                 rect.y1 - 10.0F * scale};
  const int count = std::max(1, neck.string_count());
  const float spacing = frame.board.width() / static_cast<float>(std::max(1, count - 1));
  for (int number = 1; number <= count; ++number) {
    const int from_left = scene.is_mirrored ? number - 1 : count - number;
    frame.string_xs.push_back(frame.board.x0 + spacing * static_cast<float>(from_left));
  }
  // As many frets as leave the last one 13 px; the first twelve at least.
  const int last = neck::last_fret(neck);
  const auto height_of = [&](int frets) {
    return neck::fret_distance_mm(neck.scale_mm, neck.capo + frets) -
           neck::fret_distance_mm(neck.scale_mm, neck.capo);
  };
  int shown = last;
  while (shown > std::min(12, last) &&
         (height_of(shown) - height_of(shown - 1)) / height_of(shown) * frame.board.height() <
             13.0 * scale) {
    --shown;
  }
  for (int fret = 0; fret <= shown; ++fret) {
    frame.fret_ys.push_back(
        frame.board.y0 +
        frame.board.height() * static_cast<float>(height_of(fret) / height_of(std::max(1, shown))));
  }
  return frame;
}

Point place_px(const NeckFrame& frame, int string_number, int fret, float scale) {
  const float x = frame.string_xs[static_cast<std::size_t>(string_number - 1)];
  if (fret == 0) return {x, frame.board.y0 - 10.0F * scale};
  const auto index = static_cast<std::size_t>(fret);
  if (index >= frame.fret_ys.size()) return {x, frame.board.y1 + 4.0F * scale};
  return {x, (frame.fret_ys[index - 1] + frame.fret_ys[index]) / 2.0F};
}

class NeckPainter {
 public:
  NeckPainter(const Brush& brush, const NeckScene& scene, const Rect& rect)
      : b_(brush), s_(scene), frame_(frame_of(scene, rect, brush.scale)) {}

  void paint() {
    board();
    if (s_.chord) chord_tones();
    if (s_.selected) selection();
    if (s_.sounding) sounding();
  }

 private:
  [[nodiscard]] float px(double value) const { return static_cast<float>(value) * b_.scale; }

  void board() {
    const Theme& t = b_.theme;
    const neck::Neck& neck = s_.take.neck;
    b_.fill({frame_.board.x0 - px(8), frame_.board.y0, frame_.board.x1 + px(8), frame_.board.y1},
            mixed(t.panel, t.text, 0.06), 1.0, px(3));
    for (std::size_t fret = 0; fret < frame_.fret_ys.size(); ++fret) {
      const float y = frame_.fret_ys[fret];
      b_.line({frame_.board.x0 - px(8), y}, {frame_.board.x1 + px(8), y},
              fret == 0 ? t.text : t.string_line, fret == 0 ? px(4) : px(1.2));
      const auto absolute = static_cast<int>(fret) + neck.capo;
      const int in_octave = absolute % 12;
      const bool has_inlay = fret > 0 && (in_octave == 3 || in_octave == 5 || in_octave == 7 ||
                                          in_octave == 9 || in_octave == 0);
      if (has_inlay) {
        const float middle = (y + frame_.fret_ys[fret - 1]) / 2.0F;
        const std::string number = std::to_string(fret);
        const float width = Brush::text_width(b_.fonts.small, b_.fonts.small->FontSize, number);
        b_.text(b_.fonts.small, b_.fonts.small->FontSize,
                {frame_.board.x0 - px(12) - width, middle}, t.faint_text, number);
        const float x = (frame_.board.x0 + frame_.board.x1) / 2.0F;
        const float apart = in_octave == 0 ? px(9) : 0.0F;
        for (const float side : {-1.0F, 1.0F}) {
          b_.list.AddCircleFilled({x + side * apart, middle}, px(3), packed(t.border));
          if (apart == 0.0F) break;
        }
      }
    }
    const std::vector<std::string> names = neck::string_names(neck);
    for (std::size_t i = 0; i < frame_.string_xs.size(); ++i) {
      const float x = std::round(frame_.string_xs[i]);
      b_.line({x, frame_.board.y0}, {x, frame_.board.y1}, t.string_line,
              px(1.0 + 0.4 * static_cast<double>(i)));
      const float width = Brush::text_width(b_.fonts.small, b_.fonts.small->FontSize, names[i]);
      b_.text(b_.fonts.small, b_.fonts.small->FontSize, {x - width / 2, frame_.board.y0 - px(27)},
              t.faint_text, names[i]);
    }
  }

  void dot(const NeckPlace& place, Colour colour, float radius, bool is_ring,
           const std::string& text = {}) {
    if (place.string_number < 1 ||
        place.string_number > static_cast<int>(frame_.string_xs.size())) {
      return;
    }
    const Point at = place_px(frame_, place.string_number, place.fret, b_.scale);
    if (is_ring) {
      b_.list.AddCircle({at.x, at.y}, radius, packed(colour), 0, px(2));
    } else {
      b_.list.AddCircleFilled({at.x, at.y}, radius, packed(colour));
    }
    if (text.empty()) return;
    const float size = b_.fonts.small->FontSize;
    const float width = Brush::text_width(b_.fonts.small, size, text);
    const Colour ink = is_ring                             ? b_.theme.text
                       : relative_luminance(colour) > 0.18 ? okabe_ito::black
                                                           : Colour{255, 255, 255};
    b_.text(b_.fonts.small, size, {at.x - width / 2, at.y}, ink, text);
  }

  /// Every place that gives a sounding pitch.
  [[nodiscard]] std::vector<NeckPlace> places_of(int midi) const {
    std::vector<NeckPlace> places;
    for (int number = 1; number <= s_.take.neck.string_count(); ++number) {
      const int fret = midi - neck::sounding_midi(s_.take.neck, number, 0);
      if (fret >= 0 && fret <= neck::last_fret(s_.take.neck)) places.push_back({number, fret});
    }
    return places;
  }

  void chord_tones() {
    const dsp::ChordReading& chord = s_.take.chords[*s_.chord].chord;
    const unsigned tones = theory::chord_pitch_classes(chord);
    if (tones == 0) return;
    for (int number = 1; number <= s_.take.neck.string_count(); ++number) {
      for (int fret = 0; fret < static_cast<int>(frame_.fret_ys.size()); ++fret) {
        const int pc = (neck::sounding_midi(s_.take.neck, number, fret) % 12 + 12) % 12;
        if ((tones >> static_cast<unsigned>(pc) & 1U) == 0) continue;
        const bool is_root = chord.root_pc && pc == *chord.root_pc;
        dot({number, fret}, is_root ? b_.theme.faint_text : b_.theme.border, px(is_root ? 5 : 3.5),
            false);
      }
    }
  }

  void selection() {
    const take::Note& note = s_.take.notes[*s_.selected];
    const int midi = note.midi + 12 * s_.take.octave_shift;
    for (const NeckPlace& place : places_of(midi)) {
      const bool is_played = note.position && note.position->string_number == place.string_number;
      if (!is_played) dot(place, b_.theme.selection, px(8), true);
    }
    if (!note.position) return;
    const std::string finger =
        note.position->finger > 0 ? std::to_string(note.position->finger) : "";
    dot({note.position->string_number, note.position->fret}, b_.theme.selection, px(9), false,
        finger);
  }

  void sounding() {
    const take::Note& note = s_.take.notes[*s_.sounding];
    if (!note.position) return;
    dot({note.position->string_number, note.position->fret}, b_.theme.playhead, px(10), false,
        theory::to_text(theory::spell(note.midi % 12, take::key_of(s_.take))));
  }

  const Brush& b_;
  const NeckScene& s_;
  NeckFrame frame_;
};

}  // namespace

void draw_neck(const Brush& brush, const NeckScene& scene, const Rect& rect) {
  NeckPainter(brush, scene, rect).paint();
}

std::optional<NeckPlace> neck_place_at(const NeckScene& scene, const Rect& rect, float scale,
                                       Point point) {
  const NeckFrame frame = frame_of(scene, rect, scale);
  NeckPlace place;
  float nearest = 14.0F * scale;
  bool is_near = false;
  for (std::size_t i = 0; i < frame.string_xs.size(); ++i) {
    const float distance = std::abs(frame.string_xs[i] - point.x);
    if (distance < nearest) {
      nearest = distance;
      place.string_number = static_cast<int>(i) + 1;
      is_near = true;
    }
  }
  if (!is_near || point.y < frame.board.y0 - 20.0F * scale || point.y > frame.board.y1) {
    return std::nullopt;
  }
  if (point.y >= frame.board.y0) {
    const auto below = std::ranges::upper_bound(frame.fret_ys, point.y);
    place.fret = static_cast<int>(below - frame.fret_ys.begin());
    if (place.fret >= static_cast<int>(frame.fret_ys.size())) return std::nullopt;
  }
  return place;
}

}  // namespace lowstride::desk
