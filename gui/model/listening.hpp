#pragma once

#include <filesystem>
#include <memory>
#include <string>

#include "gui/model/hearing.hpp"

namespace lowstride::desk {

/// The ears on a loudspeaker: the audio room's player on the device of that name (empty: the
/// system's). Without a device it plays in silence, at the same pace, and `notice` says so; without
/// a recording it plays the line as written. Null where there is nothing to play at all.
[[nodiscard]] std::unique_ptr<Hearing> make_listening(const std::filesystem::path& recording,
                                                      const take::Take& take,
                                                      const std::string& device);

}  // namespace lowstride::desk
