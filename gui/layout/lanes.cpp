#include "gui/layout/lanes.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "gui/layout/palette.hpp"

#include "src/sheet/text_system.hpp"
#include "src/take/harmony.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::desk {
namespace {

constexpr float folded_height = 6.0F;
constexpr float lane_gap = 2.0F;
/// Width of a digit of DejaVu Sans in shares of the font size.
constexpr float digit_em = 0.64F;
/// Under this many pixels a note on average, numbers become ticks.
constexpr float least_note_px = 11.0F;
constexpr float least_tick_px = 2.0F;
/// Numbers are not set smaller than this where notes are close; closer, a mark without a number.
constexpr float least_number_px = 9.5F;
constexpr float bare_chip_px = 5.0F;

float snapped(float value) noexcept { return std::floor(value) + 0.5F; }

class Builder {
 public:
  Builder(const take::Take& take, const Digest& digest, const DeskState& state, const Rect& area,
          float scale)
      : take_(take), digest_(digest), state_(state) {
    out_.area = area;
    out_.scale = scale;
    out_.axis = state.axis;
  }

  LaneLayout build() {
    stack_lanes();
    first_note_ = first_note_from(take_, out_.axis.begin_samples);
    if (first_note_ > 0) --first_note_;
    end_note_ = first_note_from(take_, out_.axis.end_samples());
    place_beats();
    place_bar_numbers();
    place_notes();
    place_chords();
    place_passages();
    place_remarks();
    return std::move(out_);
  }

 private:
  void stack_lanes();
  void place_beats();
  void place_bar_numbers();
  void place_notes();
  void place_note(std::size_t index);
  [[nodiscard]] float room_after(std::size_t index, float x) const;
  void place_ticks(const LaneBox& lane);
  void place_count(std::size_t index, float x);
  void place_chords();
  void place_passages();
  void place_remarks();
  [[nodiscard]] float string_y(int string_number, const Rect& lane) const;

  const take::Take& take_;
  const Digest& digest_;
  const DeskState& state_;
  LaneLayout out_;
  std::size_t first_note_ = 0;
  std::size_t end_note_ = 0;
  float last_chip_end_ = -1e9F;
  float last_role_end_ = -1e9F;
};

void Builder::stack_lanes() {
  const float left = out_.area.x0 + std::round(lane_heading_width * out_.scale);
  float y = out_.area.y0;
  // Room to spare goes to the lanes that one looks at most.
  std::vector<LaneSetting> shown = state_.lanes;
  if (take_.remarks.empty())
    std::erase_if(shown, [](const LaneSetting& lane) { return lane.kind == LaneKind::remarks; });
  const float spare = std::max(0.0F, out_.area.height() - wanted_height(shown, out_.scale));
  for (const LaneSetting& setting : shown) {
    if (y >= out_.area.y1) break;
    float height = std::round((setting.is_folded ? folded_height : setting.height) * out_.scale);
    if (!setting.is_folded && setting.kind == LaneKind::strings) height += std::floor(spare * 0.6F);
    if (!setting.is_folded && setting.kind == LaneKind::waveform)
      height += std::floor(spare * 0.4F);
    const float end = std::min(y + height, out_.area.y1);
    out_.lanes.push_back({setting.kind,
                          {left, y, out_.area.x1, end},
                          {out_.area.x0, y, left, end},
                          setting.is_folded});
    y = end + lane_gap * out_.scale;
  }
  out_.axis.left_px = left;
  out_.axis.width_px = std::max(1.0F, out_.area.x1 - left);
  const LaneBox* staff = out_.lane(LaneKind::strings);
  if (staff == nullptr || staff->is_folded) return;
  const int count = std::max(1, take_.neck.string_count());
  const float spacing = staff->rect.height() / (static_cast<float>(count) + 0.6F);
  for (int i = 0; i < count; ++i) {
    out_.string_ys.push_back(snapped(staff->rect.y0 + spacing * (0.65F + static_cast<float>(i))));
  }
  out_.number_px = std::round(std::clamp(spacing * 0.62F, 10.0F * out_.scale, 19.0F * out_.scale));
}

void Builder::place_beats() {
  const std::size_t first = first_beat_from(take_, out_.axis.begin_samples);
  const double end = out_.axis.end_samples();
  const std::size_t last = first_beat_from(take_, end);
  if (first >= last) return;
  const float beat_px = out_.axis.width_px / static_cast<float>(last - first);
  const bool has_beats = beat_px >= 8.0F * out_.scale;
  const auto add = [&](std::size_t index) {
    const take::Beat& beat = take_.beats[index];
    std::int64_t time = beat.time_samples;
    if (const auto* draft = std::get_if<BeatDraft>(&state_.draft); draft && draft->id == beat.id) {
      time = draft->time_samples;
    }
    out_.beats.push_back({index, snapped(out_.axis.px(static_cast<double>(time))), beat.beat == 1,
                          beat.state == take::State::confirmed, beat.is_pinned_one,
                          state_.beat == beat.id});
  };
  if (has_beats) {
    for (std::size_t i = first; i < last; ++i) add(i);
    if (beat_px >= 14.0F * out_.scale) {
      for (const BeatMark& mark : out_.beats) {
        out_.counts.push_back({mark.x, std::to_string(take_.beats[mark.index].beat), false});
      }
    }
    return;
  }
  // Bar lines alone, no closer than six pixels.
  auto bar = std::ranges::lower_bound(
      digest_.bars, static_cast<std::int64_t>(std::max(0.0, out_.axis.begin_samples)), {},
      &BarStart::at_samples);
  const double step = 6.0 * out_.scale * out_.axis.samples_per_px;
  while (bar != digest_.bars.end() && static_cast<double>(bar->at_samples) < end) {
    add(bar->beat_index);
    const double next = static_cast<double>(bar->at_samples) + step;
    bar = std::ranges::lower_bound(bar + 1, digest_.bars.end(), static_cast<std::int64_t>(next), {},
                                   &BarStart::at_samples);
  }
}

void Builder::place_bar_numbers() {
  const auto first = std::ranges::lower_bound(
      digest_.bars, static_cast<std::int64_t>(std::max(0.0, out_.axis.begin_samples)), {},
      &BarStart::at_samples);
  const double end = out_.axis.end_samples();
  const auto last = std::ranges::lower_bound(first, digest_.bars.end(),
                                             static_cast<std::int64_t>(std::max(0.0, end)), {},
                                             &BarStart::at_samples);
  if (first == last) return;
  const float bar_px = out_.axis.width_px / static_cast<float>(last - first);
  int every = 1;
  while (static_cast<float>(every) * bar_px < 38.0F * out_.scale) every *= 2;
  auto index = first - digest_.bars.begin();
  const auto end_index = last - digest_.bars.begin();
  // Bars 1, 5, 9 …: steps count from bar 1, so that numbers stay where they are while scrolling.
  while (index < end_index) {
    const BarStart& bar = digest_.bars[static_cast<std::size_t>(index)];
    const int ahead = ((1 - bar.number) % every + every) % every;
    if (ahead != 0) {
      index += ahead;
      continue;
    }
    out_.bar_numbers.push_back(
        {out_.axis.px(static_cast<double>(bar.at_samples)), std::to_string(bar.number), false});
    index += every;
  }
}

float Builder::string_y(int string_number, const Rect& lane) const {
  const auto index = static_cast<std::size_t>(std::max(0, string_number - 1));
  if (index < out_.string_ys.size()) return out_.string_ys[index];
  return lane.y1 - 8.0F * out_.scale;
}

/// Pixels from a note's onset to the next one on its string, a hair left free; plenty where none
/// comes soon.
float Builder::room_after(std::size_t index, float x) const {
  constexpr std::size_t look_ahead = 8;
  const auto& position = take_.notes[index].position;
  const std::size_t end = std::min(take_.notes.size(), index + 1 + look_ahead);
  for (std::size_t i = index + 1; i < end; ++i) {
    const auto& other = take_.notes[i].position;
    const bool is_same_row =
        position ? other && other->string_number == position->string_number : !other.has_value();
    if (!is_same_row) continue;
    return std::round(out_.axis.px(static_cast<double>(take_.notes[i].onset_samples))) - x -
           1.5F * out_.scale;
  }
  return 1e6F;
}

void Builder::place_note(std::size_t index) {
  const take::Note& note = take_.notes[index];
  const Rect& lane = out_.lane(LaneKind::strings)->rect;
  NoteBox box;
  box.index = index;
  box.id = note.id;
  std::int64_t onset = note.onset_samples;
  std::int64_t offset = note.offset_samples;
  std::optional<neck::Position> position = note.position;
  if (const auto* draft = std::get_if<NoteDraft>(&state_.draft); draft && draft->id == note.id) {
    onset = draft->onset_samples;
    offset = draft->offset_samples;
    box.is_draft = true;
    if (draft->string_number && position) {
      const auto open = [&](int number) {
        return take_.neck.open_midi[static_cast<std::size_t>(take_.neck.string_count() - number)];
      };
      position->fret += open(position->string_number) - open(*draft->string_number);
      position->string_number = *draft->string_number;
    }
  }
  box.is_selected = state_.is_selected(note.id);
  box.is_doubt = take::is_doubt(note, state_.doubt_threshold);
  box.is_confirmed = note.state == take::State::confirmed;
  box.is_off_neck = !position;
  if (const auto* draft = std::get_if<FretDraft>(&state_.draft); draft && draft->id == note.id) {
    box.text = draft->digits + "_";
    box.is_draft = true;
  } else if (note.is_dead) {
    box.text = "x";
  } else if (position) {
    box.text = std::to_string(position->fret);
  } else {
    box.text = theory::pitch_text(note.midi + 12 * take_.octave_shift, take::key_of(take_));
  }
  const float x0 = std::round(out_.axis.px(static_cast<double>(onset)));
  const float x1 = out_.axis.px(static_cast<double>(offset));
  const float y =
      position ? string_y(position->string_number, lane) : lane.y1 - out_.number_px * 0.55F;
  const float pad = 3.0F * out_.scale;
  const auto digits = static_cast<float>(box.text.size());
  const float room = room_after(index, x0) - 2.0F * pad;
  box.number_px = std::min(out_.number_px, std::floor(room / (digits * digit_em)));
  float width = digits * box.number_px * digit_em + 2.0F * pad;
  if (box.number_px < least_number_px * out_.scale && !box.is_draft) {
    box.text.clear();
    width = std::clamp(room, 2.0F, bare_chip_px * out_.scale);
  }
  box.number_px = std::max(box.number_px, least_number_px * out_.scale);
  const float half = std::round(box.number_px * 0.62F);
  box.chip = {x0, y - half, x0 + std::round(width), y + half};
  const float thin = std::max(2.0F, 2.0F * out_.scale);
  box.sound = {x0, y - thin, std::max(x1, x0 + 1.0F), y + thin};
  box.has_column = !box.is_confirmed && x0 - last_chip_end_ > 7.0F * out_.scale &&
                   (!note.alternatives.empty() || note.confidence < 1.0);
  last_chip_end_ = box.chip.x1;
  place_count(index, x0);
  if (index < digest_.roles.size() && digest_.roles[index] && x0 > last_role_end_) {
    const std::string sign = sheet::role_sign(digest_.roles[index]->role);
    out_.roles.push_back({x0 + pad, sign, false});
    last_role_end_ = x0 + (static_cast<float>(sign.size()) + 0.5F) * 9.0F * out_.scale;
  }
  out_.notes.push_back(std::move(box));
}

/// Off the beat: the syllable under a note, by the third or quarter of the beat that it is nearest.
void Builder::place_count(std::size_t index, float x) {
  const auto onset = static_cast<double>(take_.notes[index].onset_samples);
  const std::size_t next = first_beat_from(take_, onset + 0.5);
  if (next == 0 || next >= take_.beats.size()) return;
  const auto from = static_cast<double>(take_.beats[next - 1].time_samples);
  const auto to = static_cast<double>(take_.beats[next].time_samples);
  const float beat_px = static_cast<float>((to - from) / out_.axis.samples_per_px);
  if (beat_px < 44.0F * out_.scale) return;
  const double share = (onset - from) / (to - from);
  if (share < 0.14 || share > 0.88) return;
  struct Syllable {
    double share;
    const char* text;
  };
  const double long_share =
      take_.swing_ratio ? *take_.swing_ratio / (1.0 + *take_.swing_ratio) : 0.5;
  const Syllable syllables[] = {{long_share, "&"}, {1.0 / 3.0, "t"}, {0.25, "e"}, {0.75, "a"}};
  const Syllable* nearest = &syllables[0];
  for (const Syllable& syllable : syllables) {
    if (std::abs(syllable.share - share) < std::abs(nearest->share - share)) nearest = &syllable;
  }
  out_.counts.push_back({x, nearest->text, true});
}

void Builder::place_ticks(const LaneBox& lane) {
  const double step = least_tick_px * out_.scale * out_.axis.samples_per_px;
  std::size_t i = first_note_;
  while (i < end_note_) {
    const take::Note& note = take_.notes[i];
    const float x = out_.axis.px(static_cast<double>(note.onset_samples));
    const std::size_t next =
        std::max(i + 1, first_note_from(take_, static_cast<double>(note.onset_samples) + step));
    const std::size_t end = std::min(next, end_note_);
    // Of the notes in one mark, those in doubt and those confirmed show.
    const bool has_doubt = digest_.doubts_before[end] > digest_.doubts_before[i];
    const bool is_confirmed =
        digest_.confirmed_before[end] - digest_.confirmed_before[i] == end - i;
    const std::size_t shown = std::min(end, i + 4);
    for (std::size_t k = i; k < shown; ++k) {
      const int string = take_.notes[k].position ? take_.notes[k].position->string_number
                                                 : take_.neck.string_count() + 1;
      const float y = string_y(string, lane.rect);
      const float half = std::max(2.0F, out_.number_px * 0.3F);
      const float x1 = out_.axis.px(static_cast<double>(take_.notes[k].offset_samples));
      out_.ticks.push_back(
          {{x, y - half, std::max(x + least_tick_px * out_.scale, x1 - 1.0F), y + half},
           has_doubt,
           is_confirmed});
    }
    i = next;
  }
}

void Builder::place_notes() {
  const LaneBox* lane = out_.lane(LaneKind::strings);
  if (lane == nullptr || lane->is_folded || first_note_ >= end_note_) return;
  const auto visible = static_cast<float>(end_note_ - first_note_);
  // A screenful of the average distance; a few fast notes may overlap.
  if (out_.axis.width_px / visible < least_note_px * out_.scale) {
    place_ticks(*lane);
    return;
  }
  out_.notes.reserve(end_note_ - first_note_);
  for (std::size_t i = first_note_; i < end_note_; ++i) place_note(i);
  std::erase_if(out_.notes, [this](const NoteBox& box) {
    return std::max(box.sound.x1, box.chip.x1) < out_.axis.left_px;
  });
}

void Builder::place_chords() {
  const LaneBox* lane = out_.lane(LaneKind::chords);
  if (lane == nullptr || lane->is_folded) return;
  const float text_px = 15.0F * out_.scale;
  const double step = 3.0 * out_.scale * out_.axis.samples_per_px;
  const auto by_end = std::partition_point(
      take_.chords.begin(), take_.chords.end(), [this](const take::ChordSpan& chord) {
        return static_cast<double>(chord.end_samples) <= out_.axis.begin_samples;
      });
  auto at = by_end;
  while (at != take_.chords.end() &&
         static_cast<double>(at->begin_samples) < out_.axis.end_samples()) {
    const take::ChordSpan& chord = *at;
    std::int64_t begin = chord.begin_samples;
    std::int64_t end = chord.end_samples;
    if (const auto* draft = std::get_if<ChordDraft>(&state_.draft)) {
      if (draft->id == chord.id) begin = draft->begin_samples;
      const auto next = at + 1;
      if (next != take_.chords.end() && draft->id == next->id) end = draft->begin_samples;
    }
    ChordBox box;
    box.index = static_cast<std::size_t>(at - take_.chords.begin());
    box.rect = {
        std::max(std::round(out_.axis.px(static_cast<double>(begin))), lane->rect.x0 - 2.0F),
        lane->rect.y0,
        std::min(std::round(out_.axis.px(static_cast<double>(end))), lane->rect.x1 + 2.0F),
        lane->rect.y1};
    box.is_selected = state_.chord == chord.id;
    box.is_doubt = take::is_doubt(chord, state_.doubt_threshold);
    box.is_confirmed = chord.state == take::State::confirmed;
    if (box.rect.width() > 1.2F * text_px) box.text = take::chord_name(take_, chord);
    out_.chords.push_back(std::move(box));
    const double next_sample = std::max(static_cast<double>(chord.begin_samples) + step,
                                        static_cast<double>(chord.end_samples));
    at = std::partition_point(at + 1, take_.chords.end(), [&](const take::ChordSpan& other) {
      return static_cast<double>(other.end_samples) <= next_sample &&
             static_cast<double>(other.begin_samples) < next_sample;
    });
  }
}

void Builder::place_passages() {
  const LaneBox* lane = out_.lane(LaneKind::passages);
  if (lane == nullptr || lane->is_folded) return;
  for (std::size_t i = 0; i < take_.passages.size(); ++i) {
    const take::Passage& passage = take_.passages[i];
    take::Stretch stretch{passage.begin_samples, passage.end_samples};
    if (const auto* draft = std::get_if<PassageDraft>(&state_.draft);
        draft && draft->id == passage.id) {
      stretch = draft->stretch;
    }
    const float x0 = out_.axis.px(static_cast<double>(stretch.begin_samples));
    const float x1 = out_.axis.px(static_cast<double>(stretch.end_samples));
    if (x1 < lane->rect.x0 || x0 > lane->rect.x1) continue;
    out_.passages.push_back({i,
                             {std::max(x0, lane->rect.x0 - 2.0F), lane->rect.y0,
                              std::min(x1, lane->rect.x1 + 2.0F), lane->rect.y1},
                             passage.name,
                             passage_colour(take_, i),
                             state_.passage == passage.id});
  }
}

void Builder::place_remarks() {
  const LaneBox* lane = out_.lane(LaneKind::remarks);
  if (lane == nullptr || lane->is_folded) return;
  for (std::size_t i = 0; i < take_.remarks.size(); ++i) {
    const float x = out_.axis.px(static_cast<double>(digest_.remark_places[i]));
    if (x > lane->rect.x1) continue;
    const take::Remark& remark = take_.remarks[i];
    out_.remarks.push_back({i,
                            {std::round(x), lane->rect.y0, lane->rect.x1, lane->rect.y1},
                            remark.text,
                            remark.note.has_value(),
                            state_.remark == remark.id});
  }
  std::ranges::stable_sort(out_.remarks, {}, [](const RemarkBox& box) { return box.rect.x0; });
  // Each reaches to the next; of several in one place the first shows.
  const float least = 12.0F * out_.scale;
  std::vector<RemarkBox> apart;
  for (RemarkBox& box : out_.remarks) {
    if (!apart.empty() && box.rect.x0 < apart.back().rect.x0 + least) continue;
    if (!apart.empty()) apart.back().rect.x1 = box.rect.x0 - 2.0F;
    apart.push_back(std::move(box));
  }
  std::erase_if(apart, [&](const RemarkBox& box) { return box.rect.x1 < lane->rect.x0; });
  out_.remarks = std::move(apart);
}

}  // namespace

const LaneBox* LaneLayout::lane(LaneKind kind) const noexcept {
  for (const LaneBox& box : lanes) {
    if (box.kind == kind) return &box;
  }
  return nullptr;
}

std::size_t passage_colour(const take::Take& take, std::size_t index) noexcept {
  const std::optional<int>& chosen = take.passages[index].colour;
  constexpr std::size_t count = std::tuple_size_v<decltype(Theme::passages)>;
  return (chosen ? static_cast<std::size_t>(*chosen) : index) % count;
}

LaneLayout lay_out(const take::Take& take, const Digest& digest, const DeskState& state,
                   const Rect& area, float scale) {
  return Builder(take, digest, state, area, scale).build();
}

float wanted_height(const std::vector<LaneSetting>& lanes, float scale) noexcept {
  float height = 0.0F;
  for (const LaneSetting& lane : lanes) {
    height += std::round((lane.is_folded ? folded_height : lane.height) * scale) + lane_gap * scale;
  }
  return height;
}

}  // namespace lowstride::desk
