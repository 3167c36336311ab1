#include "src/audio/spooled_reader.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <semaphore>
#include <thread>

#include "src/audio/packed_samples.hpp"
#include "src/audio/player.hpp"
#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

constexpr std::size_t block_samples = 5000;

/// What a stream of the tests does; shared with it, since the reader owns the stream.
struct Script {
  std::int64_t promised = 0;
  std::int64_t real = 0;
  std::optional<std::int64_t> fails_at{};
  std::counting_semaphore<1000> blocks_allowed{0};
  std::atomic<bool> is_gone{false};
};

float value_at(std::int64_t sample, std::size_t channel) {
  return 0.4F * std::sin(0.05F * static_cast<float>(sample % 4000)) * (channel == 0 ? 1.0F : -0.5F);
}

/// Stereo at 44.1 kHz, block by block as the script allows.
class ScriptedStream final : public ForwardStream {
 public:
  ScriptedStream(Script& script, const WorkControl& control) : script_(script), control_(control) {
    info_.path = "scripted";
    info_.sample_rate_hz = 44100;
    info_.channel_count = 2;
  }
  ~ScriptedStream() override { script_.is_gone = true; }

  [[nodiscard]] const RecordingInfo& info() const noexcept override { return info_; }
  [[nodiscard]] std::optional<std::int64_t> expected_sample_count() const noexcept override {
    if (script_.promised == 0) return std::nullopt;
    return script_.promised;
  }
  [[nodiscard]] bool is_length_known() const noexcept override { return false; }
  [[nodiscard]] Result<std::span<const float>> next_block() override {
    while (!script_.blocks_allowed.try_acquire_for(std::chrono::milliseconds(5))) {
      if (control_.is_cancelled()) return fail(ErrorCode::cancelled, "Stopped.");
    }
    if (script_.fails_at && info_.sample_count >= *script_.fails_at) {
      return fail(ErrorCode::damaged, "'scripted' cannot be decoded.");
    }
    const std::int64_t count = std::min<std::int64_t>(script_.real - info_.sample_count,
                                                      static_cast<std::int64_t>(block_samples));
    block_.clear();
    for (std::int64_t i = 0; i < count; ++i) {
      for (std::size_t c = 0; c < 2; ++c) block_.push_back(value_at(info_.sample_count + i, c));
    }
    info_.sample_count += count;
    if (count == 0) info_.lost_note = "The file breaks off.";
    return std::span<const float>(block_);
  }

 private:
  Script& script_;
  WorkControl control_;
  RecordingInfo info_;
  std::vector<float> block_;
};

StreamOpener opener_of(Script& script) {
  return [&script](const WorkControl& control) -> Result<std::unique_ptr<ForwardStream>> {
    return std::make_unique<ScriptedStream>(script, control);
  };
}

class Spooled : public AudioFiles {};

Planes read_some(SampleReader& reader, std::size_t count) {
  Planes planes(2, std::vector<float>(count));
  const std::array<float*, 2> pointers{planes[0].data(), planes[1].data()};
  const auto got = reader.read({pointers, count});
  EXPECT_TRUE(got);
  for (auto& plane : planes) plane.resize(got.value_or(0));
  return planes;
}

void expect_values(const Planes& planes, std::int64_t begin) {
  for (std::size_t c = 0; c < 2; ++c) {
    for (std::size_t i = 0; i < planes[c].size(); ++i) {
      ASSERT_NEAR(planes[c][i], value_at(begin + static_cast<std::int64_t>(i), c), 1e-5) << i;
    }
  }
}

TEST_F(Spooled, what_is_decoded_can_be_read_while_the_rest_is_on_its_way) {
  Script script;
  script.promised = 101000;
  script.real = 98765;
  script.blocks_allowed.release();
  auto reader = open_spooled(opener_of(script), false, {});
  ASSERT_TRUE(reader) << reader.error().message;
  EXPECT_EQ((*reader)->info().sample_count, 101000);
  expect_values(read_some(**reader, 4000), 0);
  // Far ahead: the read waits until it is there.
  ASSERT_TRUE((*reader)->seek(90000));
  std::jthread later([&script] { script.blocks_allowed.release(100); });
  expect_values(read_some(**reader, 6000), 90000);
  const Planes end = read_some(**reader, 6000);
  EXPECT_EQ(end[0].size(), 2765U);
  expect_values(end, 96000);
  // The truth takes the place of the promise.
  EXPECT_EQ((*reader)->info().sample_count, 98765);
  EXPECT_EQ((*reader)->info().lost_note, "The file breaks off.");
  ASSERT_TRUE((*reader)->seek(12345));
  expect_values(read_some(**reader, 6000), 12345);
}

TEST_F(Spooled, what_promises_nothing_is_waited_for) {
  for (const bool waits : {false, true}) {
    Script script;
    script.promised = waits ? 30000 : 0;
    script.real = 21000;
    std::vector<double> shares;
    script.blocks_allowed.release(100);
    const auto reader = open_spooled(opener_of(script), waits,
                                     {.on_progress = [&](std::string_view stage, double share) {
                                       EXPECT_EQ(stage, "Decoding");
                                       shares.push_back(share);
                                     }});
    ASSERT_TRUE(reader);
    EXPECT_EQ((*reader)->info().sample_count, 21000);
  }
}

TEST_F(Spooled, damage_on_the_way_is_met_where_it_is) {
  Script script;
  script.promised = 50000;
  script.real = 50000;
  script.fails_at = 20000;
  script.blocks_allowed.release(100);
  const auto reader = open_spooled(opener_of(script), false, {});
  // Decoding may have come to the damage before this: then the error is told at once.
  if (reader) {
    expect_values(read_some(**reader, 20000), 0);
    std::vector<float> room(1000);
    const std::array<float*, 2> pointers{room.data(), room.data()};
    const auto got = (*reader)->read({pointers, 1000});
    ASSERT_FALSE(got);
    EXPECT_EQ(got.error().code, ErrorCode::damaged);
  } else {
    EXPECT_EQ(reader.error().code, ErrorCode::damaged);
  }
}

TEST_F(Spooled, a_reader_that_goes_ends_the_decoding) {
  Script script;
  script.promised = 50000;
  script.real = 50000;
  script.blocks_allowed.release();
  { ASSERT_TRUE(open_spooled(opener_of(script), false, {})); }
  EXPECT_TRUE(script.is_gone);
}

TEST_F(Spooled, opening_can_be_cancelled) {
  Script script;
  script.promised = 50000;
  script.real = 50000;
  std::atomic<bool> is_cancelled{true};
  const auto reader =
      open_spooled(opener_of(script), true, {.on_progress = {}, .cancel = &is_cancelled});
  ASSERT_FALSE(reader);
  EXPECT_EQ(reader.error().code, ErrorCode::cancelled);
}

// A loop over the whole of a file that promised too much: round at its real end.
TEST_F(Spooled, a_loop_to_the_promised_end_goes_round_at_the_real_one) {
  Script script;
  script.promised = 50000;
  script.real = 40000;
  script.blocks_allowed.release(100);
  auto reader = open_spooled(opener_of(script), false, {});
  ASSERT_TRUE(reader);
  auto opened = Player::open(std::move(*reader), {}, 44100.0,
                             {.read_ahead = ReadAhead::on_demand, .fade_in_seconds = 0.0});
  ASSERT_TRUE(opened);
  Player& player = **opened;
  player.set({.loop = SampleRange{0, 50000}});
  player.play_from(0);
  const auto sound = PullOut(player).pull(130000);
  EXPECT_TRUE(player.status().is_playing);
  EXPECT_EQ(player.length_samples(), 40000);
  // The limiter's 5 ms of delay are 220 samples.
  for (std::size_t i = 5000; i < 30000; ++i) {
    ASSERT_NEAR(sound[0][40000 + i + 220], value_at(static_cast<std::int64_t>(i), 0), 1e-3) << i;
    ASSERT_NEAR(sound[0][80000 + i + 220], value_at(static_cast<std::int64_t>(i), 0), 1e-3) << i;
  }
}

TEST_F(Spooled, packed_values_are_near_whatever_their_level) {
  auto packed = PackedSamples::create();
  ASSERT_TRUE(packed);
  // Blocks of 4096 at three levels, one of them over full scale; appended in odd pieces.
  std::vector<float> values(3 * 4096 + 1000);
  for (std::size_t i = 0; i < values.size(); ++i) {
    const float level = i < 4096 ? 1.7F : i < 8192 ? 1e-4F : 0.3F;
    values[i] = level * std::sin(0.37F * static_cast<float>(i));
  }
  for (std::size_t i = 0; i < values.size();) {
    const std::size_t count = std::min<std::size_t>(777, values.size() - i);
    ASSERT_TRUE((*packed)->append(std::span(values).subspan(i, count)));
    i += count;
  }
  std::vector<float> got(values.size() - 5);
  ASSERT_TRUE((*packed)->read(5, got));
  for (std::size_t i = 0; i < got.size(); ++i) {
    const double level = i + 5 < 4096 ? 1.7 : i + 5 < 8192 ? 1e-4 : 0.3;
    ASSERT_NEAR(got[i], values[i + 5], 1.01 * level / 65534.0) << i;
  }
}

}  // namespace
}  // namespace lowstride::audio
