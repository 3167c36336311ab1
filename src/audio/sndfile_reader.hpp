#pragma once

#include <filesystem>
#include <memory>

#include "src/audio/recording.hpp"

namespace lowstride::audio {

/// Opens what libsndfile knows well; a null pointer when it declines (another kind of file, or one
/// that the decoding program reads better). `info()` has the true length, counted by reading where
/// the header's promise does not hold. Errors: unsupported (see recording_limits.hpp), unreadable,
/// cancelled.
[[nodiscard]] Result<std::unique_ptr<SampleReader>> open_by_sndfile(
    const std::filesystem::path& path, const OpenOptions& options, const WorkControl& control);

}  // namespace lowstride::audio
