#pragma once

#include "src/audio/recording.hpp"

namespace lowstride::audio {

/// Errors: unsupported, when rate or channel count is beyond the limits of recording.hpp.
[[nodiscard]] Result<void> check_limits(const RecordingInfo& info);

/// Errors: unsupported, when there is no sound at all, or more than six hours.
[[nodiscard]] Result<void> check_length(const RecordingInfo& info);

}  // namespace lowstride::audio
