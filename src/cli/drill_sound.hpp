#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <string>

#include "src/drill/sound.hpp"

namespace lowstride::cli {

/// Where the sound of a take comes from.
struct DrillSource {
  std::string name;                 // for people
  std::filesystem::path recording;  // empty: there is none, or it was not found
};

/// Plays drill sounds on the default output, one order after another. Without a device it says so
/// once, and from then on says in words what would be heard.
class DrillSounder {
 public:
  /// `sources` by take key. `is_silent`: nothing is played from the start.
  DrillSounder(std::map<std::string, DrillSource> sources, bool is_silent);

  /// Plays an order to its end, to an interrupt, or until a line was typed. `tick` is called every
  /// few milliseconds meanwhile, with the seconds of the order that have been heard.
  void play(const drill::SoundOrder& order, const std::function<void(double)>& tick);

  [[nodiscard]] bool is_silent() const noexcept { return is_silent_; }

 private:
  void describe(const drill::SoundOrder& order) const;

  std::map<std::string, DrillSource> sources_;
  bool is_silent_;
};

}  // namespace lowstride::cli
