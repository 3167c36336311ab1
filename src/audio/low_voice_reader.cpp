#include "src/audio/low_voice_reader.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "dsp/stretch/stretcher.hpp"
#include "dsp/voices/low_voice.hpp"
#include "src/audio/planes.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::audio {
namespace {

constexpr float up_factor = 2.8F;  // 9 dB

std::unique_ptr<dsp::LowVoice> voice_of(const RecordingInfo& info,
                                        const std::vector<ScoreNote>& notes, double a4_hz) {
  dsp::LowVoiceOptions options;
  options.sample_rate_hz = info.sample_rate_hz;
  options.channel_count = static_cast<std::size_t>(info.channel_count);
  for (const ScoreNote& note : notes) {
    if (note.is_dead) continue;
    options.notes.push_back(
        {note.onset_samples, note.offset_samples, theory::frequency_hz(note.pitch_midi, a4_hz)});
  }
  return std::make_unique<dsp::LowVoice>(options);
}

std::size_t hop_of(const RecordingInfo& info) { return voice_of(info, {}, 440.0)->hop_samples(); }

void drop_front(std::vector<std::vector<float>>& channels, std::size_t count) {
  for (auto& channel : channels) {
    channel.erase(channel.begin(), channel.begin() + static_cast<std::ptrdiff_t>(count));
  }
}

void append(std::vector<std::vector<float>>& channels, dsp::AudioView block) {
  for (std::size_t c = 0; c < channels.size(); ++c) {
    channels[c].insert(channels[c].end(), block.channels[c],
                       block.channels[c] + block.sample_count);
  }
}

}  // namespace

/// The reader's insides; what its functions promise is said in the header.
class LowVoiceReader::Inside {
 public:
  Inside(std::unique_ptr<SampleReader> reader, const std::vector<ScoreNote>& notes, double a4_hz);
  void set_notes(const std::vector<ScoreNote>& notes, double a4_hz);
  [[nodiscard]] Result<void> set(const LowVoiceSettings& settings);
  [[nodiscard]] Result<std::size_t> read(dsp::MutableAudioView out);
  [[nodiscard]] Result<void> seek(std::int64_t sample);
  [[nodiscard]] bool is_from_notes() const noexcept {
    return (next_voice_ ? next_voice_ : voice_)->is_from_notes();
  }
  [[nodiscard]] const RecordingInfo& info() const noexcept { return reader_->info(); }
  [[nodiscard]] std::int64_t position() const noexcept { return position_; }

 private:
  [[nodiscard]] bool is_plain() const noexcept {
    return settings_.use == LowVoiceUse::as_is && !settings_.octave_up;
  }
  [[nodiscard]] bool moves_up() const noexcept {
    return settings_.octave_up && settings_.use != LowVoiceUse::minus;
  }
  [[nodiscard]] Result<void> advance();
  void raise_low(std::size_t count);
  void combine(std::size_t begin, std::size_t count, dsp::MutableAudioView out);

  std::unique_ptr<SampleReader> reader_;
  LowVoiceSettings settings_;
  std::unique_ptr<dsp::LowVoice> voice_;
  std::unique_ptr<dsp::LowVoice> next_voice_;  // with other notes, until the next seek
  std::unique_ptr<dsp::Stretcher> octave_;     // made when it is first wanted
  std::int64_t position_ = 0;
  Planes fresh_;                          // one hop of input, then of the rest
  Planes low_;                            // one hop of the voice
  Planes raised_;                         // one hop of the voice an octave up
  std::vector<std::vector<float>> dry_;   // input that the voice has not been told of yet
  std::vector<std::vector<float>> rest_;  // input without the voice, from `ready_begin_` on
  std::vector<std::vector<float>> wet_;   // the voice as it is to be heard, from there on
  std::int64_t read_place_ = 0;           // of the next input
  std::int64_t ready_begin_ = 0;
};

const char* low_voice_source(bool is_from_notes) noexcept {
  return is_from_notes ? "the low voice by the take's notes" : "the low voice by its low band";
}

LowVoiceReader::Inside::Inside(std::unique_ptr<SampleReader> reader,
                               const std::vector<ScoreNote>& notes, double a4_hz)
    : reader_(std::move(reader)),
      voice_(voice_of(reader_->info(), notes, a4_hz)),
      position_(reader_->position()),
      fresh_(static_cast<std::size_t>(reader_->info().channel_count), hop_of(reader_->info())),
      low_(fresh_.channel_count(), fresh_.sample_count()),
      raised_(fresh_.channel_count(), fresh_.sample_count()),
      dry_(fresh_.channel_count()),
      rest_(fresh_.channel_count()),
      wet_(fresh_.channel_count()) {}

Result<void> LowVoiceReader::Inside::set(const LowVoiceSettings& settings) {
  settings_ = settings;
  return seek(position_);
}

void LowVoiceReader::Inside::set_notes(const std::vector<ScoreNote>& notes, double a4_hz) {
  next_voice_ = voice_of(reader_->info(), notes, a4_hz);
}

Result<void> LowVoiceReader::Inside::seek(std::int64_t sample) {
  position_ = sample;
  if (next_voice_) voice_ = std::move(next_voice_);
  if (is_plain()) return reader_->seek(sample);
  const auto hop = static_cast<std::int64_t>(voice_->hop_samples());
  const auto delay = static_cast<std::int64_t>(voice_->delay_samples());
  // All frames that hold the sample; with the octave, also what its stretcher starts up with.
  const std::int64_t lead = delay + (moves_up() ? 4 * delay : 0);
  const std::int64_t earliest = sample - lead;
  read_place_ = (earliest >= 0 ? earliest / hop : -((hop - 1 - earliest) / hop)) * hop;
  voice_->restart(read_place_);
  for (auto* channels : {&rest_, &wet_}) {
    for (auto& channel : *channels) channel.clear();
  }
  // What comes out of the voice first is before the input's begin: silence stands for it.
  for (auto& channel : dry_) channel.assign(voice_->delay_samples() - voice_->hop_samples(), 0.0F);
  ready_begin_ = read_place_ + hop - delay;
  if (moves_up()) {
    if (!octave_) {
      dsp::StretchOptions options;
      options.sample_rate_hz = info().sample_rate_hz;
      options.channel_count = fresh_.channel_count();
      options.lowest_speed = options.highest_speed = 1.0;
      octave_ = std::make_unique<dsp::Stretcher>(options);
    }
    octave_->reset();
  }
  return reader_->seek(std::clamp<std::int64_t>(read_place_, 0, info().sample_count));
}

/// Puts one hop of the voice through the octave.
void LowVoiceReader::Inside::raise_low(std::size_t count) {
  std::size_t used = 0;
  while (used < count) {
    const auto progress = octave_->process({1.0, 2.0}, low_.read(used, count - used),
                                           raised_.part(0, raised_.sample_count()));
    used += progress.consumed_samples;
    append(wet_, raised_.read(0, progress.produced_samples));
  }
}

/// Reads one more hop; behind the recording's end there is silence.
Result<void> LowVoiceReader::Inside::advance() {
  const std::size_t hop = fresh_.sample_count();
  fresh_.clear(0, hop);
  const std::int64_t silent = std::clamp<std::int64_t>(-read_place_, 0, fresh_.sample_count());
  const auto begin = static_cast<std::size_t>(silent);
  if (begin < hop) {
    if (auto got = reader_->read(fresh_.part(begin, hop - begin)); !got) {
      return tl::unexpected(got.error());
    }
  }
  read_place_ += static_cast<std::int64_t>(hop);
  voice_->step(fresh_.read(0, hop), low_.part(0, hop));
  append(dry_, fresh_.read(0, hop));
  const dsp::MutableAudioView rest = fresh_.part(0, hop);
  const dsp::AudioView low = low_.read(0, hop);
  for (std::size_t c = 0; c < dry_.size(); ++c) {
    for (std::size_t i = 0; i < hop; ++i) rest.channels[c][i] = dry_[c][i] - low.channels[c][i];
  }
  append(rest_, fresh_.read(0, hop));
  drop_front(dry_, hop);
  if (moves_up()) {
    raise_low(hop);
  } else {
    append(wet_, low_.read(0, hop));
  }
  return {};
}

void LowVoiceReader::Inside::combine(std::size_t begin, std::size_t count,
                                     dsp::MutableAudioView out) {
  const bool has_rest = settings_.use != LowVoiceUse::only;
  float gain = 1.0F;
  if (settings_.use == LowVoiceUse::up) gain = up_factor;
  if (settings_.use == LowVoiceUse::minus) gain = 0.0F;
  for (std::size_t c = 0; c < out.channel_count(); ++c) {
    const float* const rest = rest_[c].data() + begin;
    const float* const wet = wet_[c].data() + begin;
    for (std::size_t i = 0; i < count; ++i) {
      out.channels[c][i] = (has_rest ? rest[i] : 0.0F) + gain * wet[i];
    }
  }
}

Result<std::size_t> LowVoiceReader::Inside::read(dsp::MutableAudioView out) {
  if (is_plain()) {
    auto got = reader_->read(out);
    if (got) position_ += static_cast<std::int64_t>(*got);
    return got;
  }
  const auto count = static_cast<std::size_t>(std::min<std::int64_t>(
      static_cast<std::int64_t>(out.sample_count), info().sample_count - position_));
  const auto wanted_end = position_ + static_cast<std::int64_t>(count);
  while (ready_begin_ +
             static_cast<std::int64_t>(std::min(wet_.front().size(), rest_.front().size())) <
         wanted_end) {
    if (auto advanced = advance(); !advanced) return tl::unexpected(advanced.error());
  }
  combine(static_cast<std::size_t>(position_ - ready_begin_), count, out);
  position_ = wanted_end;
  const auto heard = static_cast<std::size_t>(position_ - ready_begin_);
  drop_front(wet_, heard);
  drop_front(rest_, heard);
  ready_begin_ = position_;
  return count;
}

LowVoiceReader::LowVoiceReader(std::unique_ptr<SampleReader> reader,
                               const std::vector<ScoreNote>& notes, double a4_hz)
    : inside_(std::make_unique<Inside>(std::move(reader), notes, a4_hz)) {}
LowVoiceReader::~LowVoiceReader() = default;
Result<void> LowVoiceReader::set(const LowVoiceSettings& settings) {
  return inside_->set(settings);
}
void LowVoiceReader::set_notes(const std::vector<ScoreNote>& notes, double a4_hz) {
  inside_->set_notes(notes, a4_hz);
}
bool LowVoiceReader::is_from_notes() const noexcept { return inside_->is_from_notes(); }
const RecordingInfo& LowVoiceReader::info() const noexcept { return inside_->info(); }
std::int64_t LowVoiceReader::position() const noexcept { return inside_->position(); }
Result<std::size_t> LowVoiceReader::read(dsp::MutableAudioView out) { return inside_->read(out); }
Result<void> LowVoiceReader::seek(std::int64_t sample) { return inside_->seek(sample); }

}  // namespace lowstride::audio
