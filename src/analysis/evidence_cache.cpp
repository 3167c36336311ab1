#include "src/analysis/evidence_cache.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <span>
#include <system_error>
#include <vector>

#include <fmt/format.h>

#include "src/analysis/reading.hpp"
#include "src/base/atomic_file.hpp"

namespace lowstride::analysis {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view magic = "LSEVID01";
constexpr float steps = 65535.0F;
constexpr std::size_t largest_entry_bytes = std::size_t{1} << 30U;
constexpr std::uintmax_t largest_cache_bytes = std::uintmax_t{1} << 30U;
// Six hours, the longest recording that is read.
constexpr std::uint64_t most_frames = 6ULL * 3600 * 87;
static_assert(std::endian::native == std::endian::little, "entries are stored as they lie");

std::uint16_t to_step(float value) {
  return static_cast<std::uint16_t>(std::lround(std::clamp(value, 0.0F, 1.0F) * steps));
}
float from_step(std::uint16_t value) { return static_cast<float>(value) / steps; }

void round_all(std::span<float> values) {
  for (float& value : values) value = from_step(to_step(value));
}
void round_all(dsp::Table& table) {
  for (std::size_t i = 0; i < table.row_count(); ++i) round_all(table.row(i));
}

/// FNV-1a, 64 bits (Fowler, Noll & Vo; offset and prime from memory): against accidents, not
/// against attackers.
std::uint64_t checksum(std::string_view bytes) {
  std::uint64_t sum = 14695981039346656037ULL;
  for (const char byte : bytes) {
    sum ^= static_cast<unsigned char>(byte);
    sum *= 1099511628211ULL;
  }
  return sum;
}

template <typename Value>
void put(std::string& bytes, Value value) {
  char raw[sizeof(Value)];
  std::memcpy(raw, &value, sizeof(Value));
  bytes.append(raw, sizeof(Value));
}

void put(std::string& bytes, std::span<const float> values) {
  for (const float value : values) put(bytes, to_step(value));
}

class Reader {
 public:
  explicit Reader(std::string_view bytes) : bytes_(bytes) {}

  template <typename Value>
  [[nodiscard]] bool get(Value& value) {
    if (bytes_.size() < sizeof(Value)) return false;
    std::memcpy(&value, bytes_.data(), sizeof(Value));
    bytes_.remove_prefix(sizeof(Value));
    return true;
  }
  [[nodiscard]] bool get(std::span<float> values) {
    if (bytes_.size() / sizeof(std::uint16_t) < values.size()) return false;
    for (float& value : values) {
      std::uint16_t step = 0;
      std::memcpy(&step, bytes_.data(), sizeof(step));
      bytes_.remove_prefix(sizeof(step));
      value = from_step(step);
    }
    return true;
  }
  [[nodiscard]] bool get(dsp::Table& table) {
    for (std::size_t i = 0; i < table.row_count(); ++i) {
      if (!get(table.row(i))) return false;
    }
    return true;
  }
  [[nodiscard]] std::size_t left() const noexcept { return bytes_.size(); }

 private:
  std::string_view bytes_;
};

std::size_t chord_rows(std::size_t frame_count) {
  return (frame_count + dsp::chord_hop_frames - 1) / dsp::chord_hop_frames;
}

fs::path default_folder() {
  if (const char* cache = std::getenv("XDG_CACHE_HOME"); cache != nullptr && *cache == '/') {
    return fs::path(cache) / "lowstride";
  }
  if (const char* home = std::getenv("HOME"); home != nullptr && *home == '/') {
    return fs::path(home) / ".cache" / "lowstride";
  }
  return {};
}

/// Removes the entries that were used longest ago until the folder is small enough.
void trim(const fs::path& folder) {
  struct Entry {
    fs::file_time_type used;
    std::uintmax_t bytes;
    fs::path path;
  };
  std::vector<Entry> entries;
  std::uintmax_t total = 0;
  std::error_code error;
  for (const auto& file : fs::directory_iterator(folder, error)) {
    if (file.path().extension() != ".evidence") continue;
    const Entry entry{file.last_write_time(error), file.file_size(error), file.path()};
    if (error) continue;
    total += entry.bytes;
    entries.push_back(entry);
  }
  std::sort(entries.begin(), entries.end(),
            [](const Entry& a, const Entry& b) { return a.used < b.used; });
  for (const Entry& entry : entries) {
    if (total <= largest_cache_bytes) break;
    if (fs::remove(entry.path, error)) total -= entry.bytes;
  }
}

}  // namespace

void round_evidence(dsp::Evidence& evidence) {
  round_all(evidence.pitch);
  round_all(evidence.onset);
  round_all(evidence.beat);
  round_all(evidence.downbeat);
  round_all(evidence.dead);
  round_all(evidence.chord);
  round_all(evidence.chord_bass);
}

std::string pack_evidence(const dsp::Evidence& evidence) {
  const std::size_t frames = evidence.frame_count();
  std::string body;
  put(body, static_cast<std::uint64_t>(frames));
  put(body, static_cast<std::uint64_t>(evidence.chord.row_count()));
  put(body, evidence.a4_hz);
  put(body, evidence.guitar_share);
  put(body, evidence.pitch.values());
  put(body, evidence.onset.values());
  put(body, std::span<const float>(evidence.beat));
  put(body, std::span<const float>(evidence.downbeat));
  put(body, std::span<const float>(evidence.dead));
  put(body, evidence.chord.values());
  put(body, evidence.chord_bass.values());
  std::string bytes(magic);
  put(bytes, checksum(body));
  return bytes + body;
}

std::optional<dsp::Evidence> unpack_evidence(std::string_view bytes) {
  if (!bytes.starts_with(magic)) return std::nullopt;
  bytes.remove_prefix(magic.size());
  Reader head(bytes);
  std::uint64_t sum = 0;
  if (!head.get(sum)) return std::nullopt;
  bytes.remove_prefix(sizeof(sum));
  if (checksum(bytes) != sum) return std::nullopt;
  Reader reader(bytes);
  std::uint64_t frames = 0;
  std::uint64_t chords = 0;
  dsp::Evidence evidence;
  if (!reader.get(frames) || !reader.get(chords) || !reader.get(evidence.a4_hz) ||
      !reader.get(evidence.guitar_share) || frames > most_frames || chords != chord_rows(frames)) {
    return std::nullopt;
  }
  // Memory is taken only for what is there.
  constexpr std::size_t frame_values = 2 * dsp::evidence_pitch_count + 4;
  constexpr std::size_t chord_values = dsp::chord_column_count + dsp::pitch_class_count;
  if (reader.left() != sizeof(std::uint16_t) * (frames * frame_values + chords * chord_values)) {
    return std::nullopt;
  }
  evidence.pitch = dsp::Table(frames, dsp::evidence_pitch_count + 1);
  evidence.onset = dsp::Table(frames, dsp::evidence_pitch_count);
  evidence.beat.resize(frames);
  evidence.downbeat.resize(frames);
  evidence.dead.resize(frames);
  evidence.chord = dsp::Table(chords, dsp::chord_column_count);
  evidence.chord_bass = dsp::Table(chords, dsp::pitch_class_count);
  const bool is_whole = reader.get(evidence.pitch) && reader.get(evidence.onset) &&
                        reader.get(std::span<float>(evidence.beat)) &&
                        reader.get(std::span<float>(evidence.downbeat)) &&
                        reader.get(std::span<float>(evidence.dead)) && reader.get(evidence.chord) &&
                        reader.get(evidence.chord_bass);
  if (!is_whole) return std::nullopt;
  return evidence;
}

EvidenceCache::EvidenceCache() : folder_(default_folder()) {}
EvidenceCache::EvidenceCache(fs::path folder) : folder_(std::move(folder)) {}

fs::path EvidenceCache::path_of(const EvidenceKey& key) const {
  // The hash is ours, hexadecimal; anything else must not become part of a path.
  const bool is_hash = key.content_hash.size() >= 16 &&
                       key.content_hash.find_first_not_of("0123456789abcdef") == std::string::npos;
  if (folder_.empty() || !is_hash) return {};
  return folder_ / fmt::format("{}-{}-{}-{}.evidence", key.content_hash.substr(0, 32),
                               analysis_version, key.begin_sample, key.sample_count);
}

std::optional<dsp::Evidence> EvidenceCache::find(const EvidenceKey& key) const {
  const fs::path path = path_of(key);
  std::error_code error;
  if (path.empty() || !fs::exists(path, error)) return std::nullopt;
  const auto bytes = read_small_file(path, largest_entry_bytes);
  if (!bytes) return std::nullopt;
  auto evidence = unpack_evidence(*bytes);
  if (evidence) fs::last_write_time(path, fs::file_time_type::clock::now(), error);
  return evidence;
}

void EvidenceCache::keep(const EvidenceKey& key, const dsp::Evidence& evidence) const {
  const fs::path path = path_of(key);
  if (path.empty()) return;
  std::error_code error;
  fs::create_directories(folder_, error);
  if (error) return;
  if (write_file_atomically(path, pack_evidence(evidence))) trim(folder_);
}

}  // namespace lowstride::analysis
