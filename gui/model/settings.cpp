#include "gui/model/settings.hpp"

#include <algorithm>
#include <cstdlib>
#include <functional>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "src/base/atomic_file.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr std::size_t most_bytes = 1U << 20U;
constexpr std::size_t most_recent = 12;

std::optional<fs::path> folder_of(const char* variable, const char* under_home) {
  if (const char* folder = std::getenv(variable); folder != nullptr && *folder == '/') {
    return fs::path(folder) / "lowstride";
  }
  if (const char* home = std::getenv("HOME"); home != nullptr && *home == '/') {
    return fs::path(home) / under_home / "lowstride";
  }
  return std::nullopt;
}

/// Reads one field if it is there and of the right kind.
class Reader {
 public:
  Reader(const json& object, std::vector<std::string>& remarks)
      : object_(object), remarks_(remarks) {}

  void flag(const char* name, bool& value) const {
    if (const json* field = find(name)) {
      if (field->is_boolean()) {
        value = field->get<bool>();
      } else {
        odd(name);
      }
    }
  }
  void number(const char* name, double& value, double least, double most) const {
    if (const json* field = find(name)) {
      if (field->is_number() && field->get<double>() >= least && field->get<double>() <= most) {
        value = field->get<double>();
      } else {
        odd(name);
      }
    }
  }
  void text(const char* name, std::string& value) const {
    if (const json* field = find(name)) {
      if (field->is_string()) {
        value = field->get<std::string>();
      } else {
        odd(name);
      }
    }
  }
  [[nodiscard]] const json* find(const char* name) const {
    const auto at = object_.find(name);
    return at == object_.end() ? nullptr : &*at;
  }
  void odd(std::string_view name) const {
    remarks_.push_back(
        fmt::format("The setting '{}' makes no sense and has its first value.", name));
  }

 private:
  const json& object_;
  std::vector<std::string>& remarks_;
};

void read_keys(const json& object, KeyMap& map, const Reader& reader) {
  for (const ActionInfo& info : all_actions()) {
    const auto at = object.find(std::string(info.id));
    if (at == object.end()) continue;
    const auto chord = at->is_string() ? parse_key_chord(at->get<std::string>())
                                       : Result<KeyChord>(fail(ErrorCode::invalid_argument, ""));
    if (chord) {
      map.set(info.action, *chord);
    } else {
      reader.odd(fmt::format("keys.{}", info.id));
    }
  }
}

void read_lanes(const json& list, std::vector<LaneSetting>& lanes) {
  for (const json& entry : list) {
    if (!entry.is_object()) continue;
    const json named = entry.value("lane", json());
    const std::string name = named.is_string() ? named.get<std::string>() : "";
    for (LaneSetting& lane : lanes) {
      if (name != lane_name(lane.kind)) continue;
      const json height = entry.value("height", json());
      if (height.is_number()) lane.height = std::clamp(height.get<float>(), 12.0F, 600.0F);
      const json folded = entry.value("folded", json());
      if (folded.is_boolean()) lane.is_folded = folded.get<bool>();
    }
  }
}

std::optional<json> parsed(const fs::path& path) {
  const auto bytes = read_small_file(path, most_bytes);
  if (!bytes) return std::nullopt;
  json value = json::parse(*bytes, nullptr, false);
  if (!value.is_object()) return std::nullopt;
  return value;
}

std::optional<fs::path> view_path(const fs::path& take_path) {
  const auto folder = folder_of("XDG_STATE_HOME", ".local/state");
  if (!folder) return std::nullopt;
  std::error_code ignored;
  const std::string name = fs::weakly_canonical(take_path, ignored).string();
  return *folder / "views" / fmt::format("{:016x}.json", std::hash<std::string>{}(name));
}

}  // namespace

std::optional<fs::path> settings_path() {
  const auto folder = folder_of("XDG_CONFIG_HOME", ".config");
  if (!folder) return std::nullopt;
  return *folder / "desk.json";
}

LoadedSettings load_settings(const fs::path& path) {
  LoadedSettings loaded;
  std::error_code ignored;
  if (!fs::exists(path, ignored)) return loaded;
  const auto object = parsed(path);
  if (!object) {
    loaded.remarks.push_back(fmt::format(
        "The settings in '{}' cannot be read; the first ones are used.", path.string()));
    return loaded;
  }
  Settings& settings = loaded.settings;
  const Reader reader(*object, loaded.remarks);
  reader.flag("dark", settings.is_dark);
  reader.number("text_scale", settings.text_scale, 0.7, 2.5);
  reader.flag("neck_mirrored", settings.is_neck_mirrored);
  reader.number("doubt_threshold", settings.doubt_threshold, 0.0, 1.0);
  reader.number("slow_speed", settings.slow_speed, 0.2, 1.0);
  reader.text("audio_device", settings.audio_device);
  if (const json* keys = reader.find("keys"); keys != nullptr && keys->is_object()) {
    read_keys(*keys, settings.keys, reader);
  }
  if (const json* lanes = reader.find("lanes"); lanes != nullptr && lanes->is_array()) {
    read_lanes(*lanes, settings.lanes);
  }
  if (const json* recent = reader.find("recent"); recent != nullptr && recent->is_array()) {
    for (const json& entry : *recent) {
      if (entry.is_string() && settings.recent.size() < most_recent) {
        settings.recent.emplace_back(entry.get<std::string>());
      }
    }
  }
  return loaded;
}

Result<void> save_settings(const Settings& settings, const fs::path& path) {
  json object;
  object["dark"] = settings.is_dark;
  object["text_scale"] = settings.text_scale;
  object["neck_mirrored"] = settings.is_neck_mirrored;
  object["doubt_threshold"] = settings.doubt_threshold;
  object["slow_speed"] = settings.slow_speed;
  object["audio_device"] = settings.audio_device;
  object["lanes"] = json::array();
  for (const LaneSetting& lane : settings.lanes) {
    object["lanes"].push_back(
        {{"lane", lane_name(lane.kind)}, {"height", lane.height}, {"folded", lane.is_folded}});
  }
  object["keys"] = json::object();
  for (const ActionInfo& info : all_actions()) {
    if (settings.keys.key_of(info.action) != info.key) {
      object["keys"][std::string(info.id)] = key_text(settings.keys.key_of(info.action));
    }
  }
  object["recent"] = json::array();
  for (const fs::path& recent : settings.recent) object["recent"].push_back(recent.string());
  std::error_code ignored;
  fs::create_directories(path.parent_path(), ignored);
  return write_file_atomically(path,
                               object.dump(2, ' ', false, json::error_handler_t::replace) + "\n");
}

void remember(Settings& settings, const fs::path& path) {
  std::error_code ignored;
  const fs::path whole = fs::absolute(path, ignored);
  std::erase(settings.recent, whole);
  settings.recent.insert(settings.recent.begin(), whole);
  if (settings.recent.size() > most_recent) settings.recent.resize(most_recent);
}

std::optional<LastView> load_last_view(const fs::path& take_path) {
  const auto path = view_path(take_path);
  if (!path) return std::nullopt;
  const auto object = parsed(*path);
  if (!object) return std::nullopt;
  LastView view;
  std::vector<std::string> remarks;
  const Reader reader(*object, remarks);
  reader.number("begin_samples", view.begin_samples, -1e12, 1e12);
  reader.number("samples_per_px", view.samples_per_px, 1e-3, 1e9);
  reader.number("cursor_samples", view.cursor_samples, 0.0, 1e12);
  if (!remarks.empty() || view.samples_per_px == 0.0) return std::nullopt;
  return view;
}

void save_last_view(const fs::path& take_path, const LastView& view) {
  const auto path = view_path(take_path);
  if (!path) return;
  std::error_code ignored;
  fs::create_directories(path->parent_path(), ignored);
  const json object{{"begin_samples", view.begin_samples},
                    {"samples_per_px", view.samples_per_px},
                    {"cursor_samples", view.cursor_samples}};
  // Where one looked last is a comfort: without it the take opens at its start.
  const auto kept = write_file_atomically(*path, object.dump() + "\n");
  static_cast<void>(kept);
}

}  // namespace lowstride::desk
