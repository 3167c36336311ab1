#include "gui/model/levels.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>

#include "src/audio/planes.hpp"

namespace lowstride::desk {
namespace {

constexpr std::int64_t row_step = 4;
constexpr std::size_t block_samples = 1U << 15U;
constexpr std::size_t glance_samples = 512;
constexpr std::size_t coarsest_stride = 1024;
constexpr double shortest_glance_seconds = 300.0;
constexpr std::chrono::milliseconds longest_glance{800};
constexpr std::int64_t longest_close_up = 1 << 20;

std::int8_t quantised(float value) noexcept {
  return static_cast<std::int8_t>(std::lround(std::clamp(value, -1.0F, 1.0F) * 127.0F));
}

Level united(Level a, Level b) noexcept {
  return {std::min(a.low, b.low), std::max(a.high, b.high)};
}

Level extremes(audio::Planes& planes, std::size_t begin, std::size_t end) {
  float low = 1.0F;
  float high = -1.0F;
  const dsp::AudioView view = planes.read(begin, end - begin);
  for (std::size_t c = 0; c < view.channel_count(); ++c) {
    for (const float value : view.channel(c)) {
      low = std::min(low, value);
      high = std::max(high, value);
    }
  }
  return {quantised(low), quantised(high)};
}

}  // namespace

Levels::Levels(std::int64_t sample_count) : sample_count_(sample_count), glance_(glance_count) {
  std::int64_t samples = base_samples;
  do {
    const std::int64_t entries = (sample_count + samples - 1) / samples;
    rows_.push_back({samples, std::vector<Level>(
                                  static_cast<std::size_t>(std::max<std::int64_t>(1, entries)))});
    samples *= row_step;
  } while (rows_.back().entries.size() > 64);
  rank_.resize(glance_count);
  for (std::size_t stride = coarsest_stride; stride > 0; stride /= 2) {
    for (std::size_t place = 0; place < glance_count; place += stride) {
      const bool is_done = stride < coarsest_stride && place % (2 * stride) == 0;
      if (is_done) continue;
      rank_[place] = order_.size();
      order_.push_back(place);
    }
  }
}

void Levels::put_glance(Level level) noexcept {
  const std::size_t done = glance_done_.load(std::memory_order_relaxed);
  if (done >= order_.size()) return;
  glance_[order_[done]] = level;
  glance_done_.store(done + 1, std::memory_order_release);
}

void Levels::append(Level level) noexcept {
  const std::size_t index = done_.load(std::memory_order_relaxed);
  if (index >= rows_.front().entries.size()) return;
  rows_.front().entries[index] = level;
  // An entry of a coarser row is written when its last part is there, before that is published.
  std::size_t end = index + 1;
  for (std::size_t r = 1; r < rows_.size(); ++r) {
    const bool is_last = index + 1 == rows_.front().entries.size();
    if (end % row_step != 0 && !is_last) break;
    const std::size_t to = (end + row_step - 1) / row_step;
    const std::size_t first = (to - 1) * row_step;
    Level whole = rows_[r - 1].entries[first];
    for (std::size_t i = first + 1; i < end; ++i) whole = united(whole, rows_[r - 1].entries[i]);
    rows_[r].entries[to - 1] = whole;
    end = to;
  }
  done_.store(index + 1, std::memory_order_release);
}

std::optional<Level> Levels::between(double begin, double end) const noexcept {
  if (end <= 0.0 || begin >= static_cast<double>(sample_count_)) return std::nullopt;
  begin = std::max(begin, 0.0);
  end = std::min(std::max(end, begin + 1.0), static_cast<double>(sample_count_));
  const auto known = static_cast<double>(done_.load(std::memory_order_acquire) * base_samples);
  if (end <= known || known >= static_cast<double>(sample_count_)) {
    std::size_t r = 0;
    while (r + 1 < rows_.size() && (end - begin) / static_cast<double>(rows_[r].samples) > 6.0) {
      ++r;
    }
    // A coarse entry whose last part is not there yet is not there either.
    while (r > 0 && known < static_cast<double>(sample_count_) &&
           std::ceil(end / static_cast<double>(rows_[r].samples)) *
                   static_cast<double>(rows_[r].samples) >
               known) {
      --r;
    }
    const Row& row = rows_[r];
    const auto first = static_cast<std::size_t>(begin / static_cast<double>(row.samples));
    auto last = static_cast<std::size_t>(std::ceil(end / static_cast<double>(row.samples)));
    last = std::clamp(last, first + 1, row.entries.size());
    last = std::min(last, first + 32);
    Level whole = row.entries[std::min(first, row.entries.size() - 1)];
    for (std::size_t i = first + 1; i < last; ++i) whole = united(whole, row.entries[i]);
    return whole;
  }
  const auto place = static_cast<std::size_t>(begin / static_cast<double>(sample_count_) *
                                              static_cast<double>(glance_count));
  const std::size_t done_places = glance_done_.load(std::memory_order_acquire);
  for (std::size_t stride = 1; stride <= coarsest_stride; stride *= 2) {
    const std::size_t near = place - place % stride;
    if (rank_[near] < done_places) return glance_[near];
  }
  return std::nullopt;
}

double Levels::share_done() const noexcept {
  return static_cast<double>(done_.load(std::memory_order_relaxed)) /
         static_cast<double>(rows_.front().entries.size());
}

LevelsReader::LevelsReader(std::filesystem::path recording, std::int64_t sample_count)
    : recording_(std::move(recording)),
      levels_(sample_count),
      thread_([this](const std::stop_token& stop) { work(stop); }) {}

LevelsReader::~LevelsReader() {
  is_stopped_.store(true);
  thread_.request_stop();
  wish_number_.fetch_add(1);
  wish_number_.notify_all();
}

std::shared_ptr<const CloseUp> LevelsReader::close_up(std::int64_t begin, std::int64_t end) {
  begin = std::max<std::int64_t>(0, begin);
  end = std::min(end, levels_.sample_count());
  std::shared_ptr<const CloseUp> last;
  {
    const std::scoped_lock lock(mutex_);
    last = close_up_;
  }
  if (last && begin >= last->begin_sample &&
      end <= last->begin_sample + static_cast<std::int64_t>(last->samples.size())) {
    return last;
  }
  if (wish_begin_.load() != begin || wish_end_.load() != end) {
    wish_begin_.store(begin);
    wish_end_.store(end);
    wish_number_.fetch_add(1);
    wish_number_.notify_all();
  }
  return nullptr;
}

void LevelsReader::work(const std::stop_token& stop) {
  audio::OpenOptions options;
  options.with_content_hash = false;
  WorkControl control;
  control.cancel = &is_stopped_;
  auto reader = audio::open_recording(recording_, options, control);
  // The session says what is wrong with a file that cannot be read.
  if (!reader) return;
  glance(**reader, stop);
  read_all(**reader, stop);
  while (!stop.stop_requested()) {
    const std::uint32_t number = wish_number_.load();
    if (number == answered_) {
      wish_number_.wait(number);
      continue;
    }
    answered_ = number;
    answer_wish(**reader);
  }
}

void LevelsReader::glance(audio::SampleReader& reader, const std::stop_token& stop) {
  audio::Planes planes(static_cast<std::size_t>(reader.info().channel_count), glance_samples);
  const std::int64_t count = levels_.sample_count();
  // What is short, or slow to seek in, is read whole sooner than glanced at.
  if (count < static_cast<std::int64_t>(shortest_glance_seconds * reader.info().sample_rate_hz)) {
    return;
  }
  const auto last = std::chrono::steady_clock::now() + longest_glance;
  for (const std::size_t place : levels_.glance_order()) {
    if (stop.stop_requested() || std::chrono::steady_clock::now() > last) return;
    const std::int64_t at =
        static_cast<std::int64_t>(place) * count / static_cast<std::int64_t>(Levels::glance_count);
    Level level;
    if (reader.seek(std::min(at, reader.info().sample_count))) {
      const auto got = reader.read(planes.part(0, glance_samples));
      if (got && *got > 0) level = extremes(planes, 0, *got);
    }
    levels_.put_glance(level);
  }
}

void LevelsReader::read_all(audio::SampleReader& reader, const std::stop_token& stop) {
  if (!reader.seek(0)) return;
  audio::Planes planes(static_cast<std::size_t>(reader.info().channel_count), block_samples);
  while (!stop.stop_requested()) {
    const auto got = reader.read(planes.part(0, block_samples));
    if (!got || *got == 0) return;
    for (std::size_t at = 0; at < *got; at += Levels::base_samples) {
      levels_.append(extremes(planes, at,
                              std::min(*got, at + static_cast<std::size_t>(Levels::base_samples))));
    }
    if (wish_number_.load() != answered_) {
      answered_ = wish_number_.load();
      const std::int64_t place = reader.position();
      answer_wish(reader);
      if (!reader.seek(place)) return;
    }
  }
}

void LevelsReader::answer_wish(audio::SampleReader& reader) {
  const std::int64_t begin = wish_begin_.load();
  const std::int64_t end = wish_end_.load();
  if (begin < 0 || end <= begin || end > reader.info().sample_count) return;
  // A little around it, so that scrolling finds it there.
  const std::int64_t around = end - begin;
  const std::int64_t from = std::max<std::int64_t>(0, begin - around);
  const std::int64_t to =
      std::min(reader.info().sample_count, std::min(end + around, from + longest_close_up));
  const auto count = static_cast<std::size_t>(to - from);
  audio::Planes planes(static_cast<std::size_t>(reader.info().channel_count), count);
  if (!reader.seek(from)) return;
  std::size_t have = 0;
  while (have < count) {
    const auto got = reader.read(planes.part(have, count - have));
    if (!got || *got == 0) break;
    have += *got;
  }
  auto close_up = std::make_shared<CloseUp>();
  close_up->begin_sample = from;
  close_up->samples.assign(have, 0.0F);
  const dsp::AudioView view = planes.read(0, have);
  for (std::size_t c = 0; c < view.channel_count(); ++c) {
    const auto channel = view.channel(c);
    for (std::size_t i = 0; i < have; ++i) {
      close_up->samples[i] += channel[i] / static_cast<float>(view.channel_count());
    }
  }
  const std::scoped_lock lock(mutex_);
  close_up_ = std::move(close_up);
}

}  // namespace lowstride::desk
