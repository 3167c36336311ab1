#include <cmath>

#include "gui/layout/lanes.hpp"

namespace lowstride::desk {
namespace {

constexpr float edge_reach = 4.0F;

void hit_staff(const LaneLayout& layout, Point point, Hit& hit) noexcept {
  hit.kind = Hit::Kind::strings;
  float nearest = 1e9F;
  for (std::size_t i = 0; i < layout.string_ys.size(); ++i) {
    const float distance = std::abs(layout.string_ys[i] - point.y);
    if (distance < nearest) {
      nearest = distance;
      hit.string_number = static_cast<int>(i) + 1;
    }
  }
  const float reach = edge_reach * layout.scale;
  // Later notes lie over earlier ones.
  for (std::size_t i = layout.notes.size(); i-- > 0;) {
    const auto& note = layout.notes[i];
    const bool is_beside = point.y >= note.chip.y0 && point.y < note.chip.y1;
    if (!is_beside) continue;
    const float end = std::max(note.sound.x1, note.chip.x1);
    if (point.x < note.chip.x0 - reach || point.x > end + reach / 2.0F) continue;
    hit.index = note.index;
    if (std::abs(point.x - note.chip.x0) < reach / 2.0F || point.x < note.chip.x0) {
      hit.kind = Hit::Kind::note_onset;
    } else if (point.x > note.chip.x1 && std::abs(point.x - note.sound.x1) < reach) {
      hit.kind = Hit::Kind::note_end;
    } else {
      hit.kind = Hit::Kind::note;
    }
    return;
  }
}

void hit_chords(const LaneLayout& layout, Point point, Hit& hit) noexcept {
  const float reach = edge_reach * layout.scale;
  for (std::size_t i = layout.chords.size(); i-- > 0;) {
    const auto& chord = layout.chords[i];
    if (std::abs(point.x - chord.rect.x0) < reach && chord.index > 0) {
      hit.index = chord.index;
      hit.kind = Hit::Kind::chord_edge;
      return;
    }
    if (chord.rect.contains(point)) {
      hit.index = chord.index;
      hit.kind = Hit::Kind::chord;
      return;
    }
  }
}

void hit_counts(const LaneLayout& layout, Point point, Hit& hit) noexcept {
  hit.kind = Hit::Kind::counts;
  const float reach = 1.8F * edge_reach * layout.scale;
  float nearest = reach;
  for (const BeatMark& beat : layout.beats) {
    const float distance = std::abs(point.x - beat.x);
    if (distance < nearest) {
      nearest = distance;
      hit.kind = Hit::Kind::beat;
      hit.index = beat.index;
    }
  }
}

void hit_passages(const LaneLayout& layout, Point point, Hit& hit) noexcept {
  const float reach = edge_reach * layout.scale;
  for (std::size_t i = layout.passages.size(); i-- > 0;) {
    const auto& passage = layout.passages[i];
    const Rect& rect = passage.rect;
    if (point.x < rect.x0 - reach || point.x > rect.x1 + reach) continue;
    hit.index = passage.index;
    hit.kind = point.x < rect.x0 + reach   ? Hit::Kind::passage_begin
               : point.x > rect.x1 - reach ? Hit::Kind::passage_end
                                           : Hit::Kind::passage;
    return;
  }
}

void hit_remarks(const LaneLayout& layout, Point point, Hit& hit) noexcept {
  for (std::size_t i = layout.remarks.size(); i-- > 0;) {
    const auto& remark = layout.remarks[i];
    if (!remark.rect.contains(point)) continue;
    hit.index = remark.index;
    hit.kind = Hit::Kind::remark;
    return;
  }
}

}  // namespace

Hit hit_test(const LaneLayout& layout, Point point) noexcept {
  Hit hit;
  hit.sample = layout.axis.sample(point.x);
  for (const LaneBox& lane : layout.lanes) {
    const bool is_edge = std::abs(point.y - lane.rect.y1) <= 2.0F * layout.scale;
    if (is_edge && !lane.is_folded && lane.kind != LaneKind::ruler && point.x < lane.heading.x1) {
      hit.kind = Hit::Kind::lane_divider;
      hit.lane = lane.kind;
      return hit;
    }
    if (lane.heading.contains(point)) {
      hit.kind = Hit::Kind::heading;
      hit.lane = lane.kind;
      return hit;
    }
    if (!lane.rect.contains(point)) continue;
    hit.lane = lane.kind;
    hit.kind = Hit::Kind::other_lane;
    if (lane.is_folded) return hit;
    switch (lane.kind) {
      case LaneKind::ruler:
        hit.kind = Hit::Kind::ruler;
        break;
      case LaneKind::strings:
        hit_staff(layout, point, hit);
        break;
      case LaneKind::chords:
        hit_chords(layout, point, hit);
        break;
      case LaneKind::counts:
        hit_counts(layout, point, hit);
        break;
      case LaneKind::passages:
        hit_passages(layout, point, hit);
        break;
      case LaneKind::remarks:
        hit_remarks(layout, point, hit);
        break;
      case LaneKind::waveform:
        hit.kind = Hit::Kind::waveform;
        break;
      case LaneKind::roles:
      case LaneKind::lens:
        break;
    }
    return hit;
  }
  return hit;
}

}  // namespace lowstride::desk
