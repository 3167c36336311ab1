#pragma once

#include "dsp/base/evidence.hpp"
#include "gui/draw/brush.hpp"
#include "gui/layout/lanes.hpp"
#include "gui/model/levels.hpp"

namespace lowstride::desk {

/// What the lanes show besides their layout.
struct LanesScene {
  const take::Take& take;
  const Digest& digest;
  const DeskState& state;
  const LaneLayout& layout;
  const dsp::Evidence* evidence = nullptr;  // for the lens
  LevelsReader* levels = nullptr;
};

/// Draws the lanes: headings, grid, passages, chords, strings with their notes, counts, roles,
/// waveform, evidence, marked stretch, playhead.
void draw_lanes(const Brush& brush, const LanesScene& scene);

/// The whole take in a strip: waveform, passages, doubts, how much is confirmed, what the lanes
/// show. Returns the time under a point of it.
void draw_overview(const Brush& brush, const LanesScene& scene, const Rect& rect);
[[nodiscard]] double overview_sample(const take::Take& take, const Rect& rect, float x) noexcept;

/// A waveform between two times, one pixel column at a time.
void draw_waveform(const Brush& brush, LevelsReader& levels, const TimeAxis& axis, const Rect& rect,
                   Colour colour);

}  // namespace lowstride::desk
