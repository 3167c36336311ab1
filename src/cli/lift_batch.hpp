#pragma once

#include "src/cli/commands.hpp"

namespace lowstride::cli {

/// Whether a lift is of several recordings or of a folder.
[[nodiscard]] bool is_batch(const LiftOptions& options);

/// Lifts every recording of `options.recordings`, folders looked through, each by `lift_one` in a
/// process of its own, and prints one table. A recording whose take is there already, made from the
/// very same sound, is left alone unless `options.is_again`: so a batch that was stopped goes on
/// where it was. Done when all are lifted or unchanged; failed when one is not.
[[nodiscard]] ExitCode run_lift_batch(const LiftOptions& options,
                                      ExitCode (*lift_one)(const LiftOptions&));

}  // namespace lowstride::cli
