#pragma once

#include "src/base/result.hpp"
#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// True when the options ask for some bars or a stretch, and not for the whole take.
[[nodiscard]] bool asks_for_part(const LayoutOptions& options) noexcept;

/// What of a take lies in the bars or the stretch asked for, at the times where it lies: the notes
/// and stabs that the sheet writes there, beats, chords, passages and gaps. What is held into the
/// stretch or out of it is cut at its ends. The take itself where nothing is asked for. Without a
/// grid a stretch is taken by the clock. For exports that are no sheets. Errors: invalid_argument
/// where the take has none of the bars.
[[nodiscard]] Result<take::Take> excerpt(const take::Take& take, const LayoutOptions& options);

/// The same music with its first beat (without beats, its first note) at the start, as a take
/// without recording.
[[nodiscard]] take::Take begun_at_once(take::Take take);

}  // namespace lowstride::sheet
