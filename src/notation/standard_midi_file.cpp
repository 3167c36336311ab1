#include "src/notation/standard_midi_file.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

namespace lowstride::notation {
namespace {

constexpr std::int64_t most_ticks = std::int64_t{1} << 40;

class Bytes {
 public:
  explicit Bytes(std::string_view bytes) : bytes_(bytes) {}

  [[nodiscard]] std::size_t left() const noexcept { return bytes_.size() - at_; }
  [[nodiscard]] std::size_t at() const noexcept { return at_; }
  [[nodiscard]] std::optional<unsigned> peek() const {
    if (left() == 0) return std::nullopt;
    return static_cast<unsigned char>(bytes_[at_]);
  }
  [[nodiscard]] std::optional<unsigned> byte() {
    const auto value = peek();
    if (value) ++at_;
    return value;
  }
  [[nodiscard]] std::optional<std::uint32_t> big_endian(int count) {
    if (left() < static_cast<std::size_t>(count)) return std::nullopt;
    std::uint32_t value = 0;
    for (int i = 0; i < count; ++i) value = (value << 8U) | *byte();
    return value;
  }
  /// Seven bits a byte, four bytes at most.
  [[nodiscard]] std::optional<std::uint32_t> variable_length() {
    std::uint32_t value = 0;
    for (int i = 0; i < 4; ++i) {
      const auto next = byte();
      if (!next) return std::nullopt;
      value = (value << 7U) | (*next & 0x7FU);
      if ((*next & 0x80U) == 0U) return value;
    }
    return std::nullopt;
  }
  [[nodiscard]] std::optional<std::string_view> take(std::size_t count) {
    if (left() < count) return std::nullopt;
    const auto taken = bytes_.substr(at_, count);
    at_ += count;
    return taken;
  }

 private:
  std::string_view bytes_;
  std::size_t at_ = 0;
};

/// Reads one track into the file.
class TrackReader {
 public:
  TrackReader(std::string_view bytes, SmfFile& file) : bytes_(bytes), file_(file) {
    track_.programs.resize(16);
  }

  /// What went wrong, or nothing.
  [[nodiscard]] std::optional<std::string> read() {
    auto wrong = read_events();
    for (std::size_t i = 0; i < open_.size(); ++i) {
      if (open_[i]) close(i);
    }
    track_.end_tick = tick_;
    file_.tracks.push_back(std::move(track_));
    return wrong;
  }

 private:
  [[nodiscard]] std::string at(std::string_view what) const {
    return fmt::format("{} at byte {} of the track", what, bytes_.at());
  }

  [[nodiscard]] std::optional<std::string> read_events() {
    while (bytes_.left() > 0) {
      const auto wait = bytes_.variable_length();
      if (!wait) return at("a time cut off or too long");
      tick_ += *wait;
      if (tick_ > most_ticks) return at("a time beyond any music");
      const auto first = bytes_.peek();
      if (!first) return at("an event missing");
      if (*first == 0xFFU) {
        (void)bytes_.byte();
        bool is_end = false;
        if (auto wrong = read_meta(is_end)) return wrong;
        if (is_end) return std::nullopt;
      } else if (*first == 0xF0U || *first == 0xF7U) {
        (void)bytes_.byte();
        status_ = 0;
        const auto size = bytes_.variable_length();
        if (!size || !bytes_.take(*size)) return at("a system message cut off");
      } else if (*first > 0xF0U) {
        return at("a message that files do not hold");
      } else if (auto wrong = read_channel_message(*first)) {
        return wrong;
      }
    }
    return std::nullopt;
  }

  [[nodiscard]] std::optional<std::string> read_channel_message(unsigned first) {
    if (first >= 0x80U) {
      status_ = first;
      (void)bytes_.byte();
    } else if (status_ == 0) {
      return at("a data byte without a status before it (running status)");
    }
    const unsigned kind = status_ & 0xF0U;
    const auto one = bytes_.byte();
    const bool has_two = kind != 0xC0U && kind != 0xD0U;
    const auto two = has_two ? bytes_.byte() : std::optional<unsigned>(0);
    if (!one || !two) return at("an event cut off");
    if (*one > 127U || *two > 127U) return at("a status byte where data should be");
    const auto channel = static_cast<std::size_t>(status_ & 0x0FU);
    const std::size_t key = channel * 128U + *one;
    if (kind == 0x90U && *two > 0U) {
      if (open_[key]) close(key);
      open_[key] = SmfNote{tick_, tick_, static_cast<int>(channel), static_cast<int>(*one),
                           static_cast<int>(*two)};
    } else if (kind == 0x80U || kind == 0x90U) {
      if (open_[key]) close(key);
    } else if (kind == 0xC0U && !track_.programs[channel]) {
      track_.programs[channel] = static_cast<int>(*one);
    }
    return std::nullopt;
  }

  void close(std::size_t key) {
    SmfNote note = *open_[key];
    note.off_tick = tick_;
    track_.notes.push_back(note);
    open_[key].reset();
  }

  [[nodiscard]] std::optional<std::string> read_meta(bool& is_end) {
    status_ = 0;
    const auto type = bytes_.byte();
    const auto size = type ? bytes_.variable_length() : std::nullopt;
    const auto data = size ? bytes_.take(*size) : std::nullopt;
    if (!data) return at("a meta event cut off");
    const auto number = [&](std::size_t i) {
      return static_cast<int>(static_cast<unsigned char>((*data)[i]));
    };
    switch (*type) {
      case 0x03:
        if (track_.name.empty()) track_.name = *data;
        break;
      case 0x06:
        file_.markers.push_back({tick_, std::string(*data)});
        break;
      case 0x07:
        file_.cues.push_back({tick_, std::string(*data)});
        break;
      case 0x2F:
        is_end = true;
        break;
      case 0x51:
        if (data->size() == 3 && (number(0) | number(1) | number(2)) != 0) {
          file_.tempos.push_back({tick_, (number(0) << 16) | (number(1) << 8) | number(2)});
        }
        break;
      case 0x58:
        if (data->size() >= 2 && number(0) > 0 && number(1) <= 6) {
          file_.meters.push_back({tick_, number(0), 1 << number(1)});
        }
        break;
      case 0x59:
        if (data->size() == 2) {
          const int sharps = number(0) > 127 ? number(0) - 256 : number(0);
          if (sharps >= -7 && sharps <= 7) file_.keys.push_back({tick_, sharps, number(1) == 1});
        }
        break;
      default:
        break;
    }
    return std::nullopt;
  }

  Bytes bytes_;
  SmfFile& file_;
  SmfTrack track_;
  std::array<std::optional<SmfNote>, 16 * 128> open_{};
  std::int64_t tick_ = 0;
  unsigned status_ = 0;
};

template <typename Entry>
void put_in_order(std::vector<Entry>& entries) {
  std::ranges::stable_sort(entries, {}, &Entry::tick);
}

}  // namespace

Result<SmfFile> parse_smf(std::string_view bytes, std::string_view name) {
  Bytes all(bytes);
  const auto damaged = [name](std::string_view what) {
    return fail(ErrorCode::damaged,
                fmt::format("'{}' is no whole MIDI file ({}); export it again from where it "
                            "came.",
                            name, what));
  };
  const auto head = all.take(4);
  if (!head || *head != "MThd") return damaged("it does not begin as one");
  const auto head_size = all.big_endian(4);
  if (!head_size || *head_size < 6 || all.left() < *head_size)
    return damaged("its head is cut off");
  const auto format = all.big_endian(2);
  (void)all.big_endian(2);  // how many tracks: they are counted by reading
  const auto division = all.big_endian(2);
  (void)all.take(*head_size - 6);
  SmfFile file;
  file.format = static_cast<int>(*format);
  if (*format == 2) {
    return fail(ErrorCode::unsupported,
                fmt::format("'{}' holds several pieces (format 2); export one piece as format 0 or "
                            "1.",
                            name));
  }
  if (*format > 2) return damaged("its format is unknown");
  if ((*division & 0x8000U) != 0U) {
    const auto frames = static_cast<int>(256U - (*division >> 8U));
    const double rate = frames == 29 ? 30000.0 / 1001.0 : static_cast<double>(frames);
    file.ticks_a_second = rate * static_cast<double>(*division & 0xFFU);
    if (file.ticks_a_second <= 0.0) return damaged("it counts no time");
  } else {
    file.ticks_a_quarter = static_cast<int>(*division);
    if (file.ticks_a_quarter == 0) return damaged("it counts no time");
  }
  while (all.left() >= 8) {
    const auto kind = all.take(4);
    const auto size = all.big_endian(4);
    const std::size_t there = std::min<std::size_t>(*size, all.left());
    const bool is_cut = there < *size;
    const auto body = all.take(there);
    if (*kind != "MTrk") continue;
    const auto wrong = TrackReader(*body, file).read();
    if (wrong) {
      file.damages.push_back(fmt::format("Track {} of '{}' has {}; what comes before was read.",
                                         file.tracks.size(), name, *wrong));
    } else if (is_cut) {
      file.damages.push_back(
          fmt::format("'{}' ends in the middle of track {}; what is there was read.", name,
                      file.tracks.size()));
    }
  }
  if (file.tracks.empty()) return damaged("it has no track");
  put_in_order(file.tempos);
  put_in_order(file.meters);
  put_in_order(file.keys);
  put_in_order(file.markers);
  put_in_order(file.cues);
  return file;
}

}  // namespace lowstride::notation
