// Answers that are played to the desk: from a file, and into a device that is the test's own.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <functional>
#include <thread>

#include <gmock/gmock.h>

#include "dsp/voices/pluck.hpp"
#include "src/audio/writer.hpp"
#include "src/drill/ear.hpp"
#include "src/drill/sound.hpp"
#include "src/theory/pitch.hpp"
#include "tests/drill/drill_takes.hpp"
#include "tests/gui/desk_stage.hpp"

namespace lowstride::desk {
namespace {

using testing_help::DeskStage;
using testing_help::picture_folder;

constexpr double rate_hz = 44100.0;

double now_seconds() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

/// Two bars at 240, so that a test does not last; a passage of them is one line to be played.
take::Take short_line() {
  sheet::example::TakeMaker maker(240.0);
  maker.bars(2);
  maker.take().title = "Two Bars";
  maker.take().key = take::Key{9, false, take::State::confirmed, 1.0};
  maker.chord(0, 8, "A7");
  const char* const notes[] = {"A1", "C#2", "E2", "G2", "A2", "G2", "E2", "C#2"};
  for (int i = 0; i < 8; ++i) maker.note(i, 0.9, notes[i]);
  return drill::example::confirmed(maker.done());
}

drill::Item line_item(const take::Take& take) {
  drill::ItemOptions options;
  options.kinds = {drill::Kind::play_it_back};
  return drill::items_of(take, options).front();
}

/// The item's line on plucked strings, by the clicks of a count-in before it: as somebody plays it
/// who is `late_seconds` behind, with every pitch moved by some semitones.
std::vector<float> played(const drill::Item& item, double speed, double late_seconds, int moved) {
  const double lead = drill::count_in_seconds(item, speed);
  const double beat = item.seconds_per_beat() / speed;
  const double length = lead + item.beat_count() * beat + 1.0;
  std::vector<float> sound(static_cast<std::size_t>(length * rate_hz));
  dsp::PluckedString string(dsp::PluckOptions{rate_hz});
  for (const drill::ItemNote& note : item.notes) {
    const double at = lead + note.beat * beat + late_seconds;
    const auto begin = static_cast<std::size_t>(at * rate_hz);
    const auto count = std::min(static_cast<std::size_t>(0.9 * note.length_beats * beat * rate_hz),
                                sound.size() - begin);
    string.strike({440.0 * std::pow(2.0, (note.midi + moved - 69) / 12.0), 0.6});
    string.add_to(std::span(sound).subspan(begin, count));
  }
  return sound;
}

void write_file(const std::filesystem::path& path, const std::vector<float>& sound) {
  audio::WriteOptions options;
  options.sample_rate_hz = static_cast<int>(rate_hz);
  options.channel_count = 1;
  auto writer = audio::AudioWriter::create(path, options);
  ASSERT_TRUE(writer) << writer.error().message;
  const float* channel = sound.data();
  ASSERT_TRUE((*writer)->write(dsp::AudioView{{&channel, 1}, sound.size()}));
  ASSERT_TRUE((*writer)->commit());
}

/// A device that gives, in its own time, what somebody plays. `begin` says from when on.
struct Room {
  std::vector<float> sound;
  std::atomic<double> began_seconds{0.0};
  std::atomic<bool> is_stalled{false};  // the device gives nothing, and a read of it takes its time
};
class RoomInput final : public audio::LiveInput {
 public:
  explicit RoomInput(Room& room) : room_(room) {}
  [[nodiscard]] const std::string& name() const noexcept override { return name_; }
  [[nodiscard]] double sample_rate_hz() const noexcept override { return rate_hz; }
  [[nodiscard]] bool is_ended() const noexcept override { return false; }
  [[nodiscard]] std::int64_t dropped_sample_count() const noexcept override { return 0; }
  void flush() override { read_until_ = now_seconds(); }
  Result<std::size_t> read(std::span<float> out) override {
    if (room_.is_stalled.load()) {
      std::this_thread::sleep_for(std::chrono::milliseconds(100));
      return 0;
    }
    double now = now_seconds();
    for (int i = 0; i < 20 && (now - read_until_) * rate_hz < 256.0; ++i) {
      std::this_thread::sleep_for(std::chrono::milliseconds(5));
      now = now_seconds();
    }
    const auto there = static_cast<std::size_t>(std::max(0.0, (now - read_until_) * rate_hz));
    const std::size_t count = std::min(out.size(), there);
    const double begin = room_.began_seconds.load();
    for (std::size_t i = 0; i < count; ++i) {
      const double place = (read_until_ - begin) * rate_hz + static_cast<double>(i);
      const bool sounds =
          begin > 0.0 && place >= 0.0 && place < static_cast<double>(room_.sound.size());
      out[i] = sounds ? room_.sound[static_cast<std::size_t>(place)] : 0.0F;
    }
    read_until_ += static_cast<double>(count) / rate_hz;
    return count;
  }

 private:
  Room& room_;
  std::string name_ = "the room";
  double read_until_ = now_seconds();
};

/// A loudspeaker that takes the time that sounds take; the player in the room hears the
/// accompaniment and plays to it.
struct RoomSound final : DrillSound {
  explicit RoomSound(Room& its_room) : room(its_room) {}
  Room& room;
  std::vector<drill::SoundOrder> orders;
  std::size_t index = 0;
  double began = 0.0;

  void play(std::vector<drill::SoundOrder> now) override {
    orders = std::move(now);
    index = 0;
    begin();
  }
  void begin() {
    began = now_seconds();
    if (index < orders.size() && orders[index].is_accompaniment) room.began_seconds.store(began);
  }
  void stop() override { index = orders.size(); }
  Heard now() override {
    if (index >= orders.size()) return {};
    // What is only listened to is cut short.
    const drill::SoundOrder& order = orders[index];
    const double length = order.is_accompaniment ? order.length_seconds : 0.01;
    if (now_seconds() - began >= length) {
      ++index;
      begin();
      if (index >= orders.size()) return {};
    }
    return {&orders[index], now_seconds() - began};
  }
  std::string notice() const override { return {}; }
};

class PlayedAtDesk : public testing::Test {
 protected:
  void SetUp() override {
    ::setenv("XDG_DATA_HOME", (stage_.folder() / "data").c_str(), 1);
    ::setenv("XDG_CONFIG_HOME", (stage_.folder() / "config").c_str(), 1);
  }
  void TearDown() override {
    ::unsetenv("XDG_DATA_HOME");
    ::unsetenv("XDG_CONFIG_HOME");
  }

  DrillWindow& window() { return stage_.desk().drill_window(); }
  Drilling& drilling() { return *window().drilling(); }

  void step_until(const std::function<bool()>& is_over) {
    for (int i = 0; i < 10000 && !is_over(); ++i) {
      stage_.step();
      std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
  }
  /// Opens the window and begins, past the warm-up.
  void begin(drill::Kind kind) {
    stage_.key("D");
    window().choice().kinds = {kind};
    window().begin();
    step_until([this] { return window().drilling() != nullptr || !window().trouble().empty(); });
    if (window().drilling() == nullptr) return;
    stage_.key("Enter");
    stage_.step();
  }
  [[nodiscard]] std::string said() {
    std::string all;
    for (const std::string& line : drilling().says()) all += line + "\n";
    return all;
  }

  DeskStage stage_;
};

TEST_F(PlayedAtDesk, a_line_in_a_file_is_judged_note_by_note) {
  const take::Take take = short_line();
  stage_.open(take);
  const drill::Item item = line_item(take);
  constexpr double speed = 0.6;  // of an item that was never asked
  // An octave too high at the first try, right at the second: the file goes on where it was left.
  std::vector<float> sound = played(item, speed, 0.0, 12);
  const double length =
      drill::count_in_seconds(item, speed) + item.beat_count() * item.seconds_per_beat() / speed;
  sound.resize(static_cast<std::size_t>(length * rate_hz));
  const std::vector<float> second = played(item, speed, 0.0, 0);
  sound.insert(sound.end(), second.begin(), second.end());
  const auto file = stage_.folder() / "answers.wav";
  write_file(file, sound);
  window().choice().input = AnswerInput::file;
  window().choice().answers = file;
  begin(drill::Kind::play_it_back);
  ASSERT_NE(window().drilling(), nullptr) << window().trouble();
  ASSERT_EQ(drilling().speed_ratio(), speed);
  step_until([this] { return drilling().phase() == drill::Phase::feedback; });
  ASSERT_EQ(drilling().phase(), drill::Phase::feedback) << said();
  EXPECT_THAT(said(), testing::HasSubstr("Not yet")) << "the first try was an octave off";
  EXPECT_TRUE(drilling().verdict()->is_right) << said();
  stage_.picture().save(picture_folder() / "drill-played.png");
  const auto history = drill::History::open(*drill::history_path("player"));
  const auto answers = history->answers();
  ASSERT_EQ(answers->size(), 1U);
  for (const auto& note : answers->front().first_notes()) EXPECT_EQ(note.mark, drill::Mark::octave);
}

TEST_F(PlayedAtDesk, a_file_that_ends_is_said_and_the_rest_is_typed) {
  stage_.open(short_line());
  const auto file = stage_.folder() / "silence.wav";
  write_file(file, std::vector<float>(1000, 0.0F));
  window().choice().input = AnswerInput::file;
  window().choice().answers = file;
  begin(drill::Kind::find_the_note);
  ASSERT_NE(window().drilling(), nullptr) << window().trouble();
  step_until([this] { return !window().trouble().empty(); });
  EXPECT_THAT(window().trouble(), testing::HasSubstr("has ended"));
  EXPECT_EQ(drilling().phase(), drill::Phase::asking);
  drilling().type("!", present_moment());
  EXPECT_EQ(drilling().phase(), drill::Phase::feedback);
}

TEST_F(PlayedAtDesk, without_a_file_or_a_device_it_says_so_and_asks_nothing) {
  stage_.open(short_line());
  window().choice().input = AnswerInput::file;
  begin(drill::Kind::play_it_back);
  EXPECT_EQ(window().drilling(), nullptr);
  EXPECT_THAT(window().trouble(), testing::HasSubstr("Choose the file"));
  window().choice().answers = stage_.folder() / "none.wav";
  window().begin();
  step_until([this] { return !window().is_busy(); });
  stage_.step(2);
  EXPECT_THAT(window().trouble(), testing::HasSubstr("none.wav"));
  // No machine has an input of this name, and those of tests have none at all.
  window().choice().input = AnswerInput::device;
  window().choice().device = "no such input";
  window().begin();
  step_until([this] { return !window().is_busy(); });
  stage_.step(2);
  EXPECT_EQ(window().drilling(), nullptr);
  EXPECT_THAT(window().trouble(), testing::HasSubstr("No sound input"));
  stage_.picture().save(picture_folder() / "drill-setup.png");
}

TEST_F(PlayedAtDesk, without_an_ear_a_line_is_written_down) {
  stage_.open(short_line());
  begin(drill::Kind::play_it_back);
  ASSERT_NE(window().drilling(), nullptr) << window().trouble();
  EXPECT_TRUE(drilling().is_tab_asked());
}

/// The session alone, with a loudspeaker and a room that take their time.
class PlayedInRoom : public PlayedAtDesk {
 protected:
  void start(drill::Kind kind) {
    const take::Take take = short_line();
    stage_.open(take);
    auto opened =
        Drilling::open(take, stage_.desk().session().path(), {.kinds = {kind}}, present_moment());
    ASSERT_TRUE(opened) << opened.error().message;
    drilling_ = std::move(*opened);
    ear_ = *open_ear({.input = AnswerInput::device},
                     [this](const std::string&) -> Result<std::unique_ptr<audio::LiveInput>> {
                       return std::make_unique<RoomInput>(room_);
                     });
    drilling_->begin(&sound_, ear_.get(), present_moment());
    drilling_->go_on(present_moment());
    ASSERT_EQ(drilling_->phase(), drill::Phase::asking);
  }
  void go_until(const std::function<bool()>& is_over) {
    const double begin = now_seconds();
    while (!is_over() && now_seconds() - begin < 20.0) {
      drilling_->poll(present_moment());
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
  }

  Room room_;
  RoomSound sound_{room_};
  std::unique_ptr<DrillEar> ear_;
  std::unique_ptr<Drilling> drilling_;
};

TEST_F(PlayedInRoom, a_line_played_over_the_accompaniment_is_heard_in_its_place) {
  constexpr double late_seconds = 0.08;
  room_.sound = played(line_item(short_line()), 0.6, late_seconds, 0);
  start(drill::Kind::play_it_back);
  go_until([this] { return drilling_->phase() == drill::Phase::feedback; });
  ASSERT_EQ(drilling_->phase(), drill::Phase::feedback);
  EXPECT_TRUE(drilling_->verdict()->is_right);
  // The sound's begin is known in the input to a frame and a block of samples.
  EXPECT_NEAR(drilling_->verdict()->late_seconds.value_or(9.0), late_seconds, 0.035);
}

TEST_F(PlayedInRoom, a_latency_that_was_measured_is_taken_off) {
  ASSERT_TRUE(drill::keep_latency_seconds(0.08));
  room_.sound = played(line_item(short_line()), 0.6, 0.08, 0);
  start(drill::Kind::play_it_back);
  go_until([this] { return drilling_->phase() == drill::Phase::feedback; });
  ASSERT_EQ(drilling_->phase(), drill::Phase::feedback);
  EXPECT_NEAR(drilling_->verdict()->late_seconds.value_or(9.0), 0.0, 0.035);
}

TEST_F(PlayedInRoom, a_note_is_answered_as_soon_as_it_is_heard) {
  start(drill::Kind::find_the_note);
  const drill::Item item = drilling_->item();
  room_.sound.resize(static_cast<std::size_t>(1.5 * rate_hz));
  dsp::PluckedString string(dsp::PluckOptions{rate_hz});
  string.strike({440.0 * std::pow(2.0, (item.notes[item.asked].midi - 69) / 12.0), 0.6});
  string.add_to(room_.sound);
  go_until([this] { return drilling_->is_listening(); });
  ASSERT_TRUE(drilling_->is_listening());
  EXPECT_EQ(drilling_->phase(), drill::Phase::asking);
  room_.began_seconds.store(now_seconds() + 0.2);
  const double begin = now_seconds();
  go_until([this] { return drilling_->phase() != drill::Phase::asking; });
  ASSERT_EQ(drilling_->phase(), drill::Phase::feedback);
  EXPECT_TRUE(drilling_->verdict()->is_right);
  EXPECT_LT(now_seconds() - begin, 1.5);
  std::string all;
  for (const std::string& line : drilling_->says()) all += line;
  EXPECT_THAT(all, testing::HasSubstr(
                       "Heard " + theory::pitch_text(item.notes[item.asked].midi, item.tune_key)));
}

TEST_F(PlayedInRoom, no_call_waits_for_the_device) {
  start(drill::Kind::find_the_note);
  go_until([this] { return drilling_->is_listening(); });
  room_.is_stalled.store(true);
  std::vector<double> seconds;
  for (int i = 0; i < 15; ++i) {
    const double begin = now_seconds();
    drilling_->poll(present_moment());
    drilling_->hear_again(present_moment());
    seconds.push_back(now_seconds() - begin);
    go_until([this] { return drilling_->is_listening(); });
  }
  // A read of the device waits for a tenth of a second. The median, since a busy machine may take
  // the processor away from us now and then.
  std::ranges::sort(seconds);
  EXPECT_LT(seconds[7], 0.03);
}

}  // namespace
}  // namespace lowstride::desk
