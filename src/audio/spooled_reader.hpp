#pragma once

#include <functional>
#include <memory>

#include "src/audio/forward_stream.hpp"
#include "src/audio/recording.hpp"

namespace lowstride::audio {

/// Opens the stream that is to be spooled; called in the decoding thread. The control it gets is
/// cancelled when the reader goes.
using StreamOpener =
    std::function<Result<std::unique_ptr<ForwardStream>>(const WorkControl& control)>;

/// Makes a stream that can be read once readable from anywhere: a thread of its own decodes it to
/// disk (PackedSamples). With `waits_for_all` it is returned when all is there; else as soon as
/// something is and the stream tells how long it will be: a read then waits for what has not been
/// decoded yet, and `info().sample_count` is that promise until the end is known.
/// Stage reported: "Decoding". Errors: those of the stream, cannot_write, cancelled; what goes
/// wrong later comes from the read that would need it.
[[nodiscard]] Result<std::unique_ptr<SampleReader>> open_spooled(StreamOpener opener,
                                                                 bool waits_for_all,
                                                                 const WorkControl& control);

}  // namespace lowstride::audio
