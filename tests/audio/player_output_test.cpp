#include "src/audio/player_output.hpp"

#include <fcntl.h>
#include <sndfile.h>
#include <sys/stat.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdlib>
#include <thread>

#include <gmock/gmock.h>

#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

constexpr double rate_hz = 44100.0;

/// An output that is pulled by hand and gone after so many samples, as an unplugged device is: from
/// then on it takes nothing and says that it is lost.
class FailingOut final : public AudioOut {
 public:
  FailingOut(AudioSource& source, std::size_t lives_samples)
      : pull_(source, 256), left_(lives_samples) {}
  [[nodiscard]] const std::string& name() const noexcept override { return name_; }
  [[nodiscard]] bool is_lost() noexcept override { return left_ == 0; }

  std::vector<float> pull(std::size_t count) {
    const std::size_t given = std::min(count, left_);
    left_ -= given;
    return given == 0 ? std::vector<float>() : pull_.pull(given).front();
  }

 private:
  PullOut pull_;
  std::string name_ = "headphones";
  std::size_t left_;
};

class Output : public AudioFiles {
 protected:
  void SetUp() override {
    AudioFiles::SetUp();
    write_by_sndfile(folder() / "a.wav", sine(2, 400000, 441.0, 0.5F), 44100,
                     SF_FORMAT_WAV | SF_FORMAT_FLOAT);
  }

  [[nodiscard]] std::unique_ptr<Player> player(const PlayerOptions& options) const {
    auto opened =
        Player::open(std::move(*open_recording(folder() / "a.wav")), {}, rate_hz, options);
    return opened ? std::move(*opened) : nullptr;
  }
};

double loudest(const std::vector<float>& sound, std::size_t begin, std::size_t end) {
  double peak = 0.0;
  for (std::size_t i = begin; i < end; ++i) {
    peak = std::max(peak, std::abs(static_cast<double>(sound[i])));
  }
  return peak;
}

// The issue: device unplugged while playing; the engine keeps its state.
TEST_F(Output, a_lost_device_stops_the_player_and_keeps_place_loop_and_speed) {
  const auto player = this->player({.read_ahead = ReadAhead::on_demand, .fade_in_seconds = 0.5});
  const PlayerSettings wanted{.speed_ratio = 0.5, .loop = SampleRange{90000, 200000}};
  player->set(wanted);
  FailingOut* device = nullptr;
  int opened = 0;
  PlayerOutput output(*player, [&](AudioSource& source) -> Result<std::unique_ptr<AudioOut>> {
    if (++opened == 2) return fail(ErrorCode::no_device, "There is no sound device.");
    auto out = std::make_unique<FailingOut>(source, 44100);
    device = out.get();
    return out;
  });
  ASSERT_TRUE(output.open());
  player->play_from(100000);
  (void)device->pull(22050);
  EXPECT_FALSE(output.check());
  EXPECT_TRUE(player->status().is_playing);
  (void)device->pull(30000);
  const auto lost = output.check();
  ASSERT_TRUE(lost);
  EXPECT_EQ(lost->code, ErrorCode::no_device);
  EXPECT_THAT(lost->message, testing::HasSubstr("headphones"));
  EXPECT_FALSE(output.check()) << "said twice";
  EXPECT_FALSE(output.is_open());
  EXPECT_FALSE(player->status().is_playing);
  const double place = player->status().place_samples;
  EXPECT_NEAR(place, 100000 + 0.5 * 44100, 0.01 * rate_hz);
  EXPECT_EQ(player->settings(), wanted);

  // Still nothing there: said, and nothing moves.
  const auto still = output.open();
  ASSERT_FALSE(still);
  EXPECT_EQ(still.error().code, ErrorCode::no_device);
  EXPECT_EQ(player->status().place_samples, place);

  // Another one: it goes on from there, round the same loop, and rises to its level.
  ASSERT_TRUE(output.open());
  player->play();
  const auto sound = device->pull(40000);
  EXPECT_LT(loudest(sound, 0, 441), 0.5 * 0.2) << "full level at once into another device";
  EXPECT_NEAR(loudest(sound, 30000, 40000), 0.5, 0.05);
  EXPECT_NEAR(player->status().place_samples, place + 0.5 * 40000, 0.02 * rate_hz);
}

TEST_F(Output, the_first_sound_rises_and_later_ones_come_whole) {
  const auto player = this->player({.read_ahead = ReadAhead::on_demand});
  player->play_from(50000);
  PullOut out(*player);
  const auto first = out.pull(66150).front();
  // 18 dB under its level, and there in a second; each period is 441 samples.
  EXPECT_NEAR(20.0 * std::log10(loudest(first, 441, 882) / 0.5), -18.0, 1.0);
  EXPECT_NEAR(20.0 * std::log10(loudest(first, 22050, 22491) / 0.5), -9.0, 0.5);
  EXPECT_NEAR(loudest(first, 44541, 66150), 0.5, 0.002);
  player->stop();
  (void)out.pull(44100);
  player->play_from(50000);
  EXPECT_NEAR(loudest(out.pull(2000).front(), 441, 2000), 0.5, 0.002);
  // After a minute of silence the volume may be another.
  player->stop();
  (void)out.pull(61 * 44100);
  player->play_from(50000);
  EXPECT_LT(loudest(out.pull(2000).front(), 0, 2000), 0.5 * 0.2);
}

/// SDL's own output drivers, chosen for one test.
class Driver {
 public:
  Driver(const char* driver, const std::filesystem::path& file) {
    ::setenv("SDL_AUDIODRIVER", driver, 1);
    ::setenv("SDL_DISKAUDIOFILE", file.c_str(), 1);
  }
  Driver(const Driver&) = delete;
  Driver& operator=(const Driver&) = delete;
  ~Driver() {
    ::unsetenv("SDL_AUDIODRIVER");
    ::unsetenv("SDL_DISKAUDIOFILE");
  }
};

/// Waits until `is_so`, at most a minute: machines that test are busy.
template <typename Condition>
bool within_a_minute(Condition is_so) {
  const auto begin = std::chrono::steady_clock::now();
  while (!is_so()) {
    if (std::chrono::steady_clock::now() - begin > std::chrono::seconds(60)) return false;
    std::this_thread::yield();
  }
  return true;
}

// SDL's driver that writes to a file takes its file's end for a device that was pulled out: here a
// pipe whose reader goes away in the midst of the sound.
TEST_F(Output, a_real_device_that_goes_away_while_playing_is_noticed) {
  const auto pipe = folder() / "device";
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  const auto old_handler = std::signal(SIGPIPE, SIG_IGN);
  const int reader = ::open(pipe.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
  ASSERT_GE(reader, 0);
  const auto player = this->player({});
  PlayerOutput output(*player, [](AudioSource& source) { return open_device(source); });
  {
    const Driver disk("disk", pipe);
    ASSERT_TRUE(output.open());
  }
  player->set({.speed_ratio = 0.5});
  player->play_from(100000);
  std::vector<char> bytes(1 << 16);
  EXPECT_TRUE(within_a_minute([&] {
    (void)!::read(reader, bytes.data(), bytes.size());
    return player->status().place_samples > 105000.0;
  }));
  ::close(reader);
  std::optional<Error> lost;
  EXPECT_TRUE(within_a_minute([&] { return (lost = output.check()).has_value(); }));
  ASSERT_TRUE(lost);
  const double place = player->status().place_samples;
  EXPECT_GT(place, 105000.0);
  EXPECT_FALSE(player->status().is_playing);
  {
    const Driver dummy("dummy", {});
    ASSERT_TRUE(output.open());
  }
  player->play();
  EXPECT_TRUE(
      within_a_minute([&] { return player->status().place_samples > place + 0.1 * rate_hz; }));
  (void)std::signal(SIGPIPE, old_handler);
}

// SDL converts from the recording's rate to what the device has.
TEST_F(Output, recordings_of_every_rate_play_at_their_own_pace) {
  for (const int rate : {8000, 22050, 96000, 192000}) {
    SCOPED_TRACE(rate);
    write_by_sndfile(folder() / "b.wav", sine(1, static_cast<std::size_t>(rate / 2), 100.0, 0.5F),
                     rate, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
    auto opened = Player::open(std::move(*open_recording(folder() / "b.wav")), {});
    ASSERT_TRUE(opened);
    Player& player = **opened;
    PlayerOutput output(player, [](AudioSource& source) { return open_device(source); });
    const Driver dummy("dummy", {});
    ASSERT_TRUE(output.open());
    const auto begin = std::chrono::steady_clock::now();
    player.play();
    EXPECT_TRUE(within_a_minute([&] { return !player.status().is_playing; }));
    const std::chrono::duration<double> passed = std::chrono::steady_clock::now() - begin;
    // Half a second of sound; the driver does not run ahead, but for its blocks.
    EXPECT_GT(passed.count(), 0.35);
  }
}

}  // namespace
}  // namespace lowstride::audio
