#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gui/layout/digest.hpp"
#include "gui/layout/time_axis.hpp"
#include "gui/model/desk_state.hpp"
#include "src/take/take.hpp"

namespace lowstride::desk {

/// A lane with its place on the screen. The heading (name, fold mark) stands left of the time axis.
struct LaneBox {
  LaneKind kind = LaneKind::strings;
  Rect rect;     // where time is drawn
  Rect heading;  // left of it
  bool is_folded = false;
};

/// A note as a number on its string.
struct NoteBox {
  std::size_t index = 0;  // into Take::notes
  take::NoteId id{};
  Rect chip;               // around the number; its left edge is the onset
  Rect sound;              // from the onset to the end, thin, on the string
  std::string text;        // empty where the next note on the string leaves no room for it
  float number_px = 0.0F;  // font size of `text`
  bool is_selected = false;
  bool is_doubt = false;
  bool is_confirmed = false;
  bool is_draft = false;
  bool is_off_neck = false;  // it has no string; it stands under the staff by its pitch's name
  bool has_column = false;   // room for its column of candidates, left of the chip
};

/// Notes too close to be told apart, as one mark.
struct NoteTick {
  Rect rect;
  bool has_doubt = false;
  bool is_confirmed = false;
};

struct ChordBox {
  std::size_t index = 0;
  Rect rect;
  std::string text;
  bool is_selected = false;
  bool is_doubt = false;
  bool is_confirmed = false;
};

struct BeatMark {
  std::size_t index = 0;
  float x = 0.0F;
  bool is_bar = false;
  bool is_confirmed = false;
  bool is_pinned_one = false;
  bool is_selected = false;
};

struct Label {
  float x = 0.0F;
  std::string text;
  bool is_faint = false;
};

struct PassageBox {
  std::size_t index = 0;
  Rect rect;
  std::string name;
  std::size_t colour = 0;  // of the theme's passage colours
  bool is_selected = false;
};

/// A teacher's remark, from its place to the next one.
struct RemarkBox {
  std::size_t index = 0;  // into Take::remarks
  Rect rect;
  std::string text;
  bool is_of_note = false;
  bool is_selected = false;
};

/// Everything in the lanes that can be seen, as boxes in pixels.
struct LaneLayout {
  Rect area;
  TimeAxis axis;
  float scale = 1.0F;
  std::vector<LaneBox> lanes;
  std::vector<float> string_ys;  // of each string's line, highest string first
  float number_px = 14.0F;       // font size of fret numbers that have room
  std::vector<NoteBox> notes;    // either these
  std::vector<NoteTick> ticks;   // or these
  std::vector<ChordBox> chords;
  std::vector<BeatMark> beats;
  std::vector<Label> bar_numbers;
  std::vector<Label> counts;
  std::vector<Label> roles;
  std::vector<PassageBox> passages;
  std::vector<RemarkBox> remarks;

  [[nodiscard]] const LaneBox* lane(LaneKind kind) const noexcept;
};

/// Width of the headings at scale 1.
inline constexpr float lane_heading_width = 84.0F;

/// Lays out what can be seen of a take. Pure. `digest` is that of the take. Cost follows the
/// width in pixels: notes, chords and beats closer than a pixel or two fold into one.
[[nodiscard]] LaneLayout lay_out(const take::Take& take, const Digest& digest,
                                 const DeskState& state, const Rect& area, float scale);

/// Which of the theme's passage colours a passage has: the chosen one, or that of its place.
[[nodiscard]] std::size_t passage_colour(const take::Take& take, std::size_t index) noexcept;

/// The height that the lanes want in all.
[[nodiscard]] float wanted_height(const std::vector<LaneSetting>& lanes, float scale) noexcept;

/// What is under the hand.
struct Hit {
  enum class Kind : std::uint8_t {
    nothing,
    heading,       // of `lane`
    lane_divider,  // lower edge of `lane`
    ruler,
    note,
    note_onset,
    note_end,
    strings,  // the staff beside any note
    chord,
    chord_edge,  // where chord `index` begins
    beat,
    counts,
    passage,
    passage_begin,
    passage_end,
    remark,
    waveform,
    other_lane,
  };
  Kind kind = Kind::nothing;
  std::size_t index = 0;                  // of the note, chord, beat, passage or remark in the take
  std::optional<int> string_number = {};  // nearest string, in the staff
  double sample = 0.0;
  LaneKind lane = LaneKind::ruler;
};
[[nodiscard]] Hit hit_test(const LaneLayout& layout, Point point) noexcept;

}  // namespace lowstride::desk
