#include <sndfile.h>
#include <time.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "src/audio/player.hpp"
#include "tests/audio/audio_test_support.hpp"
#include "tests/stretch/allocation_trap.hpp"

namespace lowstride::audio {
namespace {

constexpr std::size_t block = 512;
constexpr double rate_hz = 44100.0;

/// Time that this thread has worked: what else the machine does is left out.
double work_seconds() {
  timespec now{};
  ::clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

class TenMinutes : public AudioFiles {};

TEST_F(TenMinutes, of_a_loop_keep_time_take_no_memory_and_are_made_in_time) {
  const std::int64_t loop_begin = 20000;
  const std::int64_t loop_length = 88201;  // no multiple of any block
  write_by_sndfile(folder() / "a.wav", clicks(2, 200000, {60000}, 0.9F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_FLOAT);
  auto reader = open_recording(folder() / "a.wav");
  ASSERT_TRUE(reader);
  auto opened = Player::open(std::move(*reader), {}, rate_hz,
                             {.read_ahead = ReadAhead::on_demand, .fade_in_seconds = 0.0});
  ASSERT_TRUE(opened);
  Player& player = **opened;
  player.set({.speed_ratio = 0.5, .loop = SampleRange{loop_begin, loop_begin + loop_length}});
  player.play_from(loop_begin);

  std::vector<float> left(block);
  std::vector<float> right(block);
  const std::array<float*, 2> out{left.data(), right.data()};
  const auto block_count = static_cast<std::size_t>(600.0 * rate_hz) / block;
  std::vector<double> seconds;
  seconds.reserve(block_count);
  std::vector<std::size_t> loudest_places;
  std::size_t taken = 0;
  float loudest = 0.0F;
  std::size_t loudest_place = 0;
  for (std::size_t i = 0; i < block_count; ++i) {
    const double begin = work_seconds();
    player.prepare(block);
    {
      const test::AllocationTrap trap;
      player.render({out, block});
      taken += trap.count();
    }
    seconds.push_back(work_seconds() - begin);
    for (std::size_t n = 0; n < block; ++n) {
      if (std::abs(left[n]) > loudest) {
        loudest = std::abs(left[n]);
        loudest_place = i * block + n;
      }
      // A click is over when nothing was louder for a quarter of a second.
      if (loudest > 0.3F && i * block + n > loudest_place + 11025) {
        loudest_places.push_back(loudest_place);
        loudest = 0.0F;
      }
    }
  }
  EXPECT_EQ(taken, 0U);
  EXPECT_EQ(player.status().underrun_count, 0);

  // Each round lasts 176402 samples, to the last one.
  ASSERT_GT(loudest_places.size(), 140U);
  for (std::size_t i = 0; i < loudest_places.size(); ++i) {
    ASSERT_EQ(loudest_places[i], loudest_places[0] + i * 2 * static_cast<std::size_t>(loop_length))
        << i;
  }

  std::sort(seconds.begin(), seconds.end());
  const double late = seconds[seconds.size() * 999 / 1000];
  RecordProperty("late_share_of_block", std::to_string(late * rate_hz / block));
  EXPECT_LT(late, 0.5 * block / rate_hz);
}

}  // namespace
}  // namespace lowstride::audio
