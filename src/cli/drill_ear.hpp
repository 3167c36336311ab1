#pragma once

#include <optional>

#include "src/audio/live_input.hpp"
#include "src/base/result.hpp"
#include "src/cli/console.hpp"
#include "src/drill/ear.hpp"
#include "src/drill/session.hpp"
#include "src/neck/neck.hpp"

namespace lowstride::cli {

/// The answer to the item that is asked, played into the ear; nothing when it is to be typed
/// (another kind of item, a line was typed meanwhile, a file's end). Says what was heard. Errors:
/// those of the input.
[[nodiscard]] std::optional<Result<drill::Answer>> played_answer(drill::Ear& ear,
                                                                 const drill::Session& session);

/// `lowstride drill --tuner`: the nearest open string of a bass or guitar and how far off it is,
/// and a meter, until Ctrl-C or the input's end.
[[nodiscard]] ExitCode run_tuner(audio::LiveInput& input, const neck::Neck& neck);

/// `lowstride drill --measure-latency`: plays sweeps and hears them come back.
[[nodiscard]] ExitCode run_latency(const std::string& device);

}  // namespace lowstride::cli
