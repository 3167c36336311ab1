#include "src/analysis/evidence_cache.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <functional>
#include <span>
#include <system_error>
#include <type_traits>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/analysis/reading.hpp"
#include "src/base/atomic_file.hpp"

namespace lowstride::analysis {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view magic = "LSEVID02";
constexpr std::uintmax_t largest_cache_bytes = std::uintmax_t{1} << 30U;
// Six hours, the longest recording that is read.
constexpr std::uint64_t most_frames = 6ULL * 3600 * 87;
constexpr std::size_t chunk_bytes = std::size_t{1} << 16U;
static_assert(std::endian::native == std::endian::little, "entries are stored as they lie");

/// FNV-1a, 64 bits (Fowler, Noll & Vo; offset and prime from memory): against accidents, not
/// against attackers.
class Checksum {
 public:
  void add(std::string_view bytes) noexcept {
    for (const char byte : bytes) {
      sum_ ^= static_cast<unsigned char>(byte);
      sum_ *= 1099511628211ULL;
    }
  }
  [[nodiscard]] std::uint64_t value() const noexcept { return sum_; }

 private:
  std::uint64_t sum_ = 14695981039346656037ULL;
};

/// Hands an entry's bytes on in chunks: the magic word, what is put, the checksum of that.
class Writer {
 public:
  /// `take_chunk` is false when there is no use in going on.
  using TakeChunk = std::function<bool(std::string_view)>;
  explicit Writer(TakeChunk take_chunk) : take_chunk_(std::move(take_chunk)), chunk_(magic) {}

  template <typename Value>
  void put(std::span<const Value> values) {
    static_assert(std::is_trivially_copyable_v<Value>);
    const std::size_t begin = chunk_.size();
    chunk_.resize(begin + values.size_bytes());
    if (!values.empty()) std::memcpy(chunk_.data() + begin, values.data(), values.size_bytes());
    sum_.add(std::string_view(chunk_).substr(begin));
    if (chunk_.size() >= chunk_bytes) flush();
  }
  template <typename Value>
  void put(Value value) {
    put(std::span<const Value>(&value, 1));
  }
  void put(const dsp::ProbabilityTable& table) {
    for (std::size_t i = 0; i < table.row_count(); ++i) {
      const auto row = table.packed_row(i);
      put(row.marks);
      put(row.bytes);
    }
  }
  /// Probabilities in steps of 1/65535.
  void put(const std::vector<float>& values) {
    for (const float value : values) {
      put(static_cast<std::uint16_t>(std::lround(std::clamp(value, 0.0F, 1.0F) * 65535.0F)));
    }
  }
  /// False when some bytes were not taken.
  [[nodiscard]] bool finish() {
    put(sum_.value());
    flush();
    return is_taken_;
  }

 private:
  void flush() {
    is_taken_ = is_taken_ && take_chunk_(chunk_);
    chunk_.clear();
  }

  TakeChunk take_chunk_;
  std::string chunk_;
  Checksum sum_;
  bool is_taken_ = true;
};

/// Reads an entry's bytes, from memory or a file, in the order in which they were put.
class Reader {
 public:
  /// `give` copies the next bytes to a place, fewer than asked at the end only.
  using Give = std::function<std::size_t(char*, std::size_t)>;
  Reader(Give give, std::uintmax_t byte_count) : give_(std::move(give)), left_(byte_count) {}

  [[nodiscard]] std::uintmax_t left() const noexcept { return left_; }
  /// Reads the magic word, which does not count for the checksum.
  [[nodiscard]] bool begins() {
    std::array<char, magic.size()> word{};
    const bool is_there =
        get(std::span<char>(word)) && std::string_view(word.data(), word.size()) == magic;
    sum_ = {};
    return is_there;
  }

  template <typename Value>
  [[nodiscard]] bool get(std::span<Value> values) {
    const std::size_t count = values.size_bytes();
    if (count > left_) return false;
    if (count == 0) return true;
    while (chunk_.size() - place_ < count) {
      if (!refill()) return false;
    }
    std::memcpy(values.data(), chunk_.data() + place_, count);
    sum_.add(std::string_view(chunk_).substr(place_, count));
    place_ += count;
    left_ -= count;
    return true;
  }
  template <typename Value>
  [[nodiscard]] bool get(Value& value) {
    return get(std::span<Value>(&value, 1));
  }
  [[nodiscard]] bool get(dsp::ProbabilityTable& table, std::size_t row_count) {
    std::vector<std::uint64_t> marks(table.mark_count());
    std::vector<std::uint8_t> bytes;
    for (std::size_t i = 0; i < row_count; ++i) {
      if (!get(std::span(marks))) return false;
      const auto count = table.byte_count(marks);
      if (!count) return false;
      bytes.resize(*count);
      if (!get(std::span(bytes)) || !table.append_packed({marks, bytes})) return false;
    }
    return true;
  }
  [[nodiscard]] bool get(std::vector<float>& values, std::size_t count) {
    values.reserve(count);
    for (std::size_t i = 0; i < count; ++i) {
      std::uint16_t step = 0;
      if (!get(step)) return false;
      values.push_back(static_cast<float>(step) / 65535.0F);
    }
    return true;
  }
  /// True when nothing is left but the checksum of what was read.
  [[nodiscard]] bool ends_here() {
    const std::uint64_t sum = sum_.value();
    std::uint64_t stored = 0;
    return left_ == sizeof(stored) && get(stored) && stored == sum;
  }

 private:
  [[nodiscard]] bool refill() {
    chunk_.erase(0, place_);
    place_ = 0;
    const std::size_t begin = chunk_.size();
    chunk_.resize(begin + chunk_bytes);
    const std::size_t given = give_(chunk_.data() + begin, chunk_bytes);
    chunk_.resize(begin + given);
    return given > 0;
  }

  Give give_;
  std::uintmax_t left_;
  std::string chunk_;
  std::size_t place_ = 0;  // in the chunk
  Checksum sum_;
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

/// False when some bytes were not taken.
bool write_evidence(const dsp::Evidence& evidence, Writer& writer) {
  writer.put(static_cast<std::uint64_t>(evidence.frame_count()));
  writer.put(static_cast<std::uint64_t>(evidence.chord.row_count()));
  writer.put(evidence.a4_hz);
  writer.put(evidence.guitar_share);
  writer.put(evidence.pitch);
  writer.put(evidence.onset);
  writer.put(evidence.beat);
  writer.put(evidence.downbeat);
  writer.put(evidence.dead);
  writer.put(evidence.chord);
  writer.put(evidence.chord_bass);
  return writer.finish();
}

std::optional<dsp::Evidence> read_evidence(Reader& reader) {
  dsp::Evidence evidence;
  evidence.pitch = dsp::ProbabilityTable(dsp::evidence_pitch_count + 1);
  evidence.onset = dsp::ProbabilityTable(dsp::evidence_pitch_count);
  evidence.chord = dsp::ProbabilityTable(dsp::chord_column_count);
  evidence.chord_bass = dsp::ProbabilityTable(dsp::pitch_class_count);
  std::uint64_t frames = 0;
  std::uint64_t chords = 0;
  if (!reader.begins() || !reader.get(frames) || !reader.get(chords) ||
      !reader.get(evidence.a4_hz) || !reader.get(evidence.guitar_share) || frames > most_frames ||
      chords != chord_rows(frames)) {
    return std::nullopt;
  }
  // Memory is taken only for what is there.
  const std::uint64_t least_bytes =
      frames * (8 * (evidence.pitch.mark_count() + evidence.onset.mark_count()) + 6) +
      chords * 8 * (evidence.chord.mark_count() + evidence.chord_bass.mark_count());
  if (reader.left() < least_bytes) return std::nullopt;
  const bool is_whole = reader.get(evidence.pitch, frames) && reader.get(evidence.onset, frames) &&
                        reader.get(evidence.beat, frames) &&
                        reader.get(evidence.downbeat, frames) &&
                        reader.get(evidence.dead, frames) && reader.get(evidence.chord, chords) &&
                        reader.get(evidence.chord_bass, chords) && reader.ends_here();
  if (!is_whole) return std::nullopt;
  return evidence;
}

}  // namespace

std::string pack_evidence(const dsp::Evidence& evidence) {
  std::string bytes;
  Writer writer([&bytes](std::string_view chunk) {
    bytes += chunk;
    return true;
  });
  static_cast<void>(write_evidence(evidence, writer));  // memory takes all of it
  return bytes;
}

std::optional<dsp::Evidence> unpack_evidence(std::string_view bytes) {
  std::string_view left = bytes;
  Reader reader(
      [&left](char* to, std::size_t count) {
        const std::size_t given = left.copy(to, count);
        left.remove_prefix(given);
        return given;
      },
      bytes.size());
  return read_evidence(reader);
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
  const auto size = fs::file_size(path, error);
  if (error) return std::nullopt;
  std::ifstream file(path, std::ios::binary);
  Reader reader(
      [&file](char* to, std::size_t count) {
        file.read(to, static_cast<std::streamsize>(count));
        return static_cast<std::size_t>(file.gcount());
      },
      size);
  auto evidence = read_evidence(reader);
  if (evidence) fs::last_write_time(path, fs::file_time_type::clock::now(), error);
  return evidence;
}

void EvidenceCache::keep(const EvidenceKey& key, const dsp::Evidence& evidence) const {
  const fs::path path = path_of(key);
  if (path.empty()) return;
  std::error_code error;
  fs::create_directories(folder_, error);
  if (error) return;
  auto file = PendingFile::create(path);
  if (!file) return;
  Writer writer([&file](std::string_view chunk) { return file->write(chunk).has_value(); });
  if (write_evidence(evidence, writer) && file->commit()) trim(folder_);
}

}  // namespace lowstride::analysis
