#include <algorithm>
#include <cmath>

#include "gui/draw/lanes_view.hpp"

namespace lowstride::desk {

void draw_waveform(const Brush& brush, LevelsReader& reader, const TimeAxis& axis, const Rect& rect,
                   Colour colour) {
  const Levels& levels = reader.levels();
  const float middle = rect.middle_y();
  const float half = rect.height() * 0.48F;
  const int columns = static_cast<int>(rect.width());
  if (columns <= 0) return;
  if (axis.samples_per_px < static_cast<double>(Levels::base_samples)) {
    const auto begin = static_cast<std::int64_t>(std::floor(axis.begin_samples));
    const auto end = static_cast<std::int64_t>(std::ceil(axis.end_samples())) + 1;
    const auto close_up = reader.close_up(begin, end);
    if (close_up && axis.samples_per_px < 2.0) {
      // The curve itself.
      ImVec2 previous;
      for (std::int64_t at = std::max(begin, close_up->begin_sample);
           at < std::min(end, close_up->begin_sample +
                                  static_cast<std::int64_t>(close_up->samples.size()));
           ++at) {
        const float value =
            close_up->samples[static_cast<std::size_t>(at - close_up->begin_sample)];
        const ImVec2 point{axis.px(static_cast<double>(at)), middle - value * half};
        if (at > begin && at > close_up->begin_sample) {
          brush.list.AddLine(previous, point, packed(colour), 1.5F);
        }
        previous = point;
      }
      return;
    }
    if (close_up) {
      brush.list.PrimReserve(columns * 6, columns * 4);
      for (int i = 0; i < columns; ++i) {
        const float x = rect.x0 + static_cast<float>(i);
        const std::int64_t count = static_cast<std::int64_t>(close_up->samples.size());
        const std::int64_t from = std::clamp<std::int64_t>(
            static_cast<std::int64_t>(axis.sample(x)) - close_up->begin_sample, 0, count);
        const std::int64_t to = std::clamp<std::int64_t>(
            static_cast<std::int64_t>(axis.sample(x + 1.0F)) - close_up->begin_sample + 1, from,
            count);
        float low = 0.0F;
        float high = 0.0F;
        if (from < to) {
          const auto [least, most] =
              std::minmax_element(close_up->samples.begin() + from, close_up->samples.begin() + to);
          low = *least;
          high = *most;
        }
        brush.list.PrimRect({x, middle - high * half - 0.5F},
                            {x + 1.0F, middle - low * half + 0.5F}, packed(colour));
      }
      return;
    }
  }
  brush.list.PrimReserve(columns * 6, columns * 4);
  for (int i = 0; i < columns; ++i) {
    const float x = rect.x0 + static_cast<float>(i);
    const auto level = levels.between(axis.sample(x), axis.sample(x + 1.0F)).value_or(Level{});
    brush.list.PrimRect({x, middle - static_cast<float>(level.high) / 127.0F * half - 0.5F},
                        {x + 1.0F, middle - static_cast<float>(level.low) / 127.0F * half + 0.5F},
                        packed(colour));
  }
}

void draw_overview(const Brush& brush, const LanesScene& scene, const Rect& rect) {
  const Theme& theme = brush.theme;
  const take::Take& take = scene.take;
  brush.fill(rect, theme.background);
  if (take.length_samples <= 0) return;
  TimeAxis axis;
  axis.left_px = rect.x0;
  axis.width_px = rect.width();
  axis.begin_samples = 0.0;
  axis.samples_per_px = static_cast<double>(take.length_samples) / rect.width();
  const float strip = std::round(4.0F * brush.scale);
  if (scene.levels != nullptr) {
    draw_waveform(brush, *scene.levels, axis, {rect.x0, rect.y0 + strip, rect.x1, rect.y1 - strip},
                  theme.waveform);
  }
  for (std::size_t i = 0; i < take.passages.size(); ++i) {
    brush.fill({axis.px(static_cast<double>(take.passages[i].begin_samples)), rect.y0,
                axis.px(static_cast<double>(take.passages[i].end_samples)), rect.y0 + strip},
               theme.passages[passage_colour(take, i)]);
  }
  // How far one has come: three pixels at a time, what is confirmed and what is in doubt.
  const float step = std::round(3.0F * brush.scale);
  const auto steps = static_cast<int>(std::ceil((rect.x1 - rect.x0) / step));
  for (int i = 0; i < steps; ++i) {
    const float x = rect.x0 + static_cast<float>(i) * step;
    const std::size_t first = first_note_from(take, axis.sample(x));
    const std::size_t last = first_note_from(take, axis.sample(x + step));
    if (first >= last) continue;
    const Digest& digest = scene.digest;
    const bool has_doubt = digest.doubts_before[last] > digest.doubts_before[first];
    const bool is_confirmed =
        digest.confirmed_before[last] - digest.confirmed_before[first] == last - first;
    if (has_doubt || is_confirmed) {
      brush.fill({x, rect.y1 - strip, x + step - 1.0F, rect.y1},
                 has_doubt ? theme.doubt : theme.confirmed);
    }
  }
  const TimeAxis& shown = scene.layout.axis;
  const Rect window{std::max(rect.x0, axis.px(shown.begin_samples)), rect.y0,
                    std::min(rect.x1, axis.px(shown.end_samples())), rect.y1};
  brush.fill(window, theme.selection, 0.10);
  brush.outline(window, theme.selection, 2.0F * brush.scale, 1.2F * brush.scale);
  const float x = axis.px(scene.state.playing_samples.value_or(scene.state.cursor_samples));
  brush.line({x, rect.y0}, {x, rect.y1}, theme.playhead, 1.5F * brush.scale);
}

double overview_sample(const take::Take& take, const Rect& rect, float x) noexcept {
  const double share = std::clamp((x - rect.x0) / std::max(1.0F, rect.width()), 0.0F, 1.0F);
  return share * static_cast<double>(take.length_samples);
}

}  // namespace lowstride::desk
