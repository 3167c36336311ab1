#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "gui/model/actions.hpp"
#include "gui/model/desk_state.hpp"
#include "src/base/result.hpp"

namespace lowstride::desk {

/// What a player set up for good: $XDG_CONFIG_HOME/lowstride/desk.json.
struct Settings {
  bool is_dark = true;
  double text_scale = 1.0;  // on top of the screen's own, 0.7 .. 2.5
  bool is_neck_mirrored = false;
  double doubt_threshold = 0.8;
  double slow_speed = 0.6;   // at which what is selected is looped
  std::string audio_device;  // empty: the system's
  std::vector<LaneSetting> lanes = usual_lanes();
  KeyMap keys;
  std::vector<std::filesystem::path> recent;  // takes and recordings, latest first

  bool operator==(const Settings&) const = default;
};

/// $XDG_CONFIG_HOME/lowstride/desk.json, else ~/.config/…; nothing without a home.
[[nodiscard]] std::optional<std::filesystem::path> settings_path();

/// Settings as they stand in a file; what is missing or makes no sense has its first value, and
/// `remarks` says which. A file that is not there is no remark.
struct LoadedSettings {
  Settings settings;
  std::vector<std::string> remarks;
};
[[nodiscard]] LoadedSettings load_settings(const std::filesystem::path& path);
[[nodiscard]] Result<void> save_settings(const Settings& settings,
                                         const std::filesystem::path& path);

/// Puts a path first among the recent ones; twelve are kept.
void remember(Settings& settings, const std::filesystem::path& path);

/// Where one looked last in a take: $XDG_STATE_HOME/lowstride/views/HASH.json.
struct LastView {
  double begin_samples = 0.0;
  double samples_per_px = 0.0;
  double cursor_samples = 0.0;

  bool operator==(const LastView&) const = default;
};
[[nodiscard]] std::optional<LastView> load_last_view(const std::filesystem::path& take_path);
/// No view kept is no failure: nothing is said.
void save_last_view(const std::filesystem::path& take_path, const LastView& view);

}  // namespace lowstride::desk
