#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <memory>
#include <string>
#include <utility>

#include <fmt/format.h>

#include "src/audio/audio_out.hpp"
#include "src/audio/player.hpp"
#include "src/audio/player_output.hpp"
#include "src/audio/score_of_take.hpp"
#include "src/cli/commands.hpp"
#include "src/cli/keyboard.hpp"
#include "src/cli/sound_source.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::cli {
namespace {

constexpr int look_milliseconds = 40;
constexpr double speed_step = 0.05;
constexpr double gain_step_db = 3.0;
constexpr double seek_seconds = 2.0;  // of an arrow, where there are no bars

constexpr const char* key_help =
    "space play, stop   < > back, on (a bar, or 2 s; also the arrows)   0 to the start\n"
    "up, down speed     { } half a tone down, up                        + - louder, softer\n"
    "[ ] loop from, to here   \\ loop off   r recording   l line   h chords   c click\n"
    "b low voice: as it is, up, only, minus   o octave up   ? keys   q end\n";

struct Session {
  const PlayOptions& options;
  const SoundSource& source;
  audio::Player& player;
  audio::PlayerOutput& output;
  audio::PlayerSettings settings;
  std::int64_t begin_sample = 0;
  std::optional<std::int64_t> end_sample;  // where it stops by itself
  bool is_over = false;
};

std::string place_text(const Session& session, double place) {
  const double seconds = std::max(0.0, place) / session.player.sample_rate_hz();
  std::string text = take::format_time(seconds);
  text.resize(text.size() - 2);  // tenths of a second are enough to watch
  if (session.source.take && !session.source.take->beats.empty()) {
    text =
        take::format_place(std::llround(std::max(0.0, place)), *session.source.take).substr(0, 12) +
        "  " + text;
  }
  return text;
}

std::string loop_text(const Session& session) {
  if (!session.settings.loop) return "";
  const auto text = [&](std::int64_t sample) {
    return session.source.take
               ? take::format_place(sample, *session.source.take)
               : take::format_time(static_cast<double>(sample) / session.player.sample_rate_hz());
  };
  return fmt::format("  loop {}..{}", text(session.settings.loop->begin_sample),
                     text(session.settings.loop->end_sample));
}

const char* low_voice_text(audio::LowVoiceUse use) {
  switch (use) {
    case audio::LowVoiceUse::as_is:
      return "";
    case audio::LowVoiceUse::up:
      return "  low voice up";
    case audio::LowVoiceUse::only:
      return "  low voice only";
    case audio::LowVoiceUse::minus:
      return "  low voice out";
  }
  return "";
}

void show(const Session& session, const audio::PlayerStatus& status) {
  const audio::PlayerSettings& now = session.settings;
  std::string line = fmt::format(
      "{} {}  {:.0f} %{}",
      status.is_counting_in ? "count" : (status.is_playing ? "play " : "stop "),
      place_text(session, status.place_samples), 100.0 * now.speed_ratio, loop_text(session));
  if (now.shift_semitones != 0.0) line += fmt::format("  {:+g} st", now.shift_semitones);
  line += low_voice_text(now.low_voice.use);
  if (now.low_voice.octave_up) line += "  octave up";
  if (!now.recording.is_on) line += "  no recording";
  if (now.line.is_on) line += "  line";
  if (now.chords.is_on) line += "  chords";
  if (now.click != audio::ClickPattern::none) line += "  click";
  if (status.underrun_count > 0) line += fmt::format("  {} gaps", status.underrun_count);
  const auto columns = static_cast<std::size_t>(terminal_columns(80));
  fmt::print("\r\x1b[K{}", line.substr(0, columns - 1));
  std::fflush(stdout);
}

/// A bar back or on where there is a grid, else two seconds.
std::int64_t moved(const Session& session, double place, int steps) {
  if (session.source.take) {
    if (const auto bar = take::bar_position(*session.source.take, place)) {
      // Back: to this bar's one, or, close behind it, to the one before.
      const int back = bar->beat > 1.5 ? 0 : -1;
      const int target = bar->bar + (steps > 0 ? 1 : back);
      if (const auto sample = take::sample_at(*session.source.take, {target, 1.0})) {
        return std::llround(std::max(0.0, *sample));
      }
    }
  }
  return std::llround(
      std::max(0.0, place + steps * seek_seconds * session.player.sample_rate_hz()));
}

void set_loop_edge(Session& session, std::int64_t place, bool is_begin) {
  audio::SampleRange loop =
      session.settings.loop.value_or(audio::SampleRange{0, session.player.length_samples()});
  (is_begin ? loop.begin_sample : loop.end_sample) = place;
  if (loop.begin_sample < loop.end_sample) session.settings.loop = loop;
}

void next_low_voice(audio::LowVoiceUse& use) {
  use = use == audio::LowVoiceUse::minus
            ? audio::LowVoiceUse::as_is
            : static_cast<audio::LowVoiceUse>(static_cast<std::uint8_t>(use) + 1U);
}

void press_voice_key(audio::PlayerSettings& settings, char key) {
  switch (key) {
    case 'r':
      settings.recording.is_on = !settings.recording.is_on;
      break;
    case 'l':
      settings.line.is_on = !settings.line.is_on;
      break;
    case 'h':
      settings.chords.is_on = !settings.chords.is_on;
      break;
    case 'c':
      settings.click = settings.click == audio::ClickPattern::none ? audio::ClickPattern::all
                                                                   : audio::ClickPattern::none;
      break;
    case 'b':
      next_low_voice(settings.low_voice.use);
      break;
    case 'o':
      settings.low_voice.octave_up = !settings.low_voice.octave_up;
      break;
    default:
      break;
  }
}

void play_or_stop(Session& session, bool is_playing) {
  if (is_playing) return session.player.stop();
  const bool was_open = session.output.is_open();
  if (auto opened = session.output.open(); !opened) return remark(opened.error().message);
  if (!was_open) remark(fmt::format("Playing on through '{}'.", session.output.name()));
  session.player.play();
}

void press(Session& session, Key key, const audio::PlayerStatus& status) {
  audio::PlayerSettings& now = session.settings;
  const auto place = static_cast<std::int64_t>(std::llround(status.place_samples));
  // Steps from whole steps, so that many of them do not add up to crumbs.
  const auto stepped = [](double value, double step, int steps) {
    return step * (std::round(value / step) + steps);
  };
  switch (static_cast<int>(key)) {
    case ' ':
      play_or_stop(session, status.is_playing);
      return;
    case '0':
      session.player.seek(now.loop ? now.loop->begin_sample : session.begin_sample);
      return;
    case '<':
    case static_cast<int>(Key::left):
      session.player.seek(moved(session, status.place_samples, -1));
      return;
    case '>':
    case static_cast<int>(Key::right):
      session.player.seek(moved(session, status.place_samples, 1));
      return;
    case static_cast<int>(Key::up):
      now.speed_ratio = stepped(now.speed_ratio, speed_step, 1);
      break;
    case static_cast<int>(Key::down):
      now.speed_ratio = stepped(now.speed_ratio, speed_step, -1);
      break;
    case '{':
      now.shift_semitones = stepped(now.shift_semitones, 1.0, -1);
      break;
    case '}':
      now.shift_semitones = stepped(now.shift_semitones, 1.0, 1);
      break;
    case '+':
      now.gain_db += gain_step_db;
      break;
    case '-':
      now.gain_db -= gain_step_db;
      break;
    case '[':
      set_loop_edge(session, place, true);
      break;
    case ']':
      set_loop_edge(session, place, false);
      break;
    case '\\':
      now.loop.reset();
      break;
    case '?':
      fmt::print("\r\x1b[K{}", key_help);
      return;
    case 'q':
      session.is_over = true;
      return;
    default:
      press_voice_key(now, static_cast<char>(key));
      break;
  }
  session.player.set(now);
  now = session.player.settings();
}

Result<audio::SampleRange> typed_loop(const std::string& text, const SoundSource& source) {
  StretchOptionTexts texts;
  const auto dots = text.find("..");
  if (dots == std::string::npos) {
    texts.passage = text;
  } else {
    texts.from = text.substr(0, dots);
    texts.to = text.substr(dots + 2);
  }
  const auto stretch = typed_stretch(texts, source);
  if (!stretch) return tl::unexpected(stretch.error());
  if (*stretch->end_sample <= *stretch->begin_sample) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--loop '{}': its end must come after its start.", text));
  }
  return audio::SampleRange{*stretch->begin_sample, *stretch->end_sample};
}

Result<audio::PlayerSettings> settings_from(const PlayOptions& options, const SoundSource& source) {
  audio::PlayerSettings settings;
  const auto speed = typed_speed(options.speed, "--speed");
  if (!speed) return tl::unexpected(speed.error());
  const auto shift = typed_shift(options.semitones, options.cents);
  if (!shift) return tl::unexpected(shift.error());
  settings.speed_ratio = *speed;
  settings.shift_semitones = *shift;
  if (options.loop) {
    const auto loop = typed_loop(*options.loop, source);
    if (!loop) return tl::unexpected(loop.error());
    settings.loop = *loop;
  }
  settings.count_in_bars = options.count_in_bars;
  settings.click = click_pattern(options.click);
  if (has_word(options.with, "click") && !options.click) settings.click = audio::ClickPattern::all;
  settings.line.is_on = has_word(options.with, "line");
  settings.chords.is_on = has_word(options.with, "chords");
  settings.low_voice = low_voice_settings(options.bass, options.octave_up);
  const bool needs_take = settings.line.is_on || settings.chords.is_on ||
                          settings.count_in_bars > 0 || settings.click != audio::ClickPattern::none;
  if (needs_take && !source.take) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("--with, --click and --count-in need a take, and '{}' is none; lift it "
                            "first.",
                            source.input.string()));
  }
  // A take alone is heard by what can be made of it.
  if (!source.recording && options.with.empty()) settings.line.is_on = true;
  return settings;
}

Result<std::unique_ptr<audio::Player>> player_from(const SoundSource& source) {
  std::unique_ptr<audio::SampleReader> reader;
  if (source.recording) {
    audio::OpenOptions open;
    open.with_content_hash = false;
    open.reads_while_decoding = true;
    ProgressLine line;
    auto opened = audio::open_recording(*source.recording, open, line.control());
    if (!opened) return tl::unexpected(opened.error());
    reader = std::move(*opened);
  }
  audio::Score score;
  if (source.take) score = audio::score_of_take(*source.take);
  return audio::Player::open(std::move(reader), std::move(score), source.rate_hz);
}

/// Opens what was asked for; once that has been lost, the default device stands in for a chosen
/// one.
audio::PlayerOutput::Opener opener_from(const PlayOptions& options) {
  return [&options, is_again = false](
             audio::AudioSource& source) mutable -> Result<std::unique_ptr<audio::AudioOut>> {
    if (options.is_silent) return audio::open_silent_clock(source);
    audio::DeviceOptions device{.device = options.device.value_or(""),
                                .block_samples = static_cast<std::size_t>(options.block_samples)};
    auto opened = audio::open_device(source, device);
    if (!opened && is_again && !device.device.empty()) {
      device.device.clear();
      opened = audio::open_device(source, device);
    }
    is_again = true;
    return opened;
  };
}

/// Plays until the end, `q`, or Ctrl-C.
Result<ExitCode> play(Session& session) {
  Keyboard keyboard;
  const bool is_watched = ::isatty(STDOUT_FILENO) == 1;
  if (is_watched && keyboard.is_there()) fmt::print("{}", key_help);
  session.player.play_from(session.begin_sample);
  bool was_playing = true;
  while (!session.is_over) {
    if (interrupt_flag().load()) return ExitCode::interrupted;
    const Key key = keyboard.wait(look_milliseconds);
    const audio::PlayerStatus status = session.player.status();
    if (status.error) return tl::unexpected(*status.error);
    if (is_watched) show(session, status);
    if (key != Key::none) press(session, key, status);
    if (const auto lost = session.output.check()) {
      if (!keyboard.is_there()) return tl::unexpected(*lost);
      if (is_watched) fmt::print("\n");
      remark(lost->message);
    }
    const bool is_behind_end = session.end_sample && !session.settings.loop &&
                               status.place_samples >= static_cast<double>(*session.end_sample) &&
                               status.is_playing;
    if (is_behind_end) session.player.stop();
    // Without keys nobody could go on.
    const bool has_stopped = was_playing && !status.is_playing;
    if ((has_stopped || is_behind_end) && !keyboard.is_there()) session.is_over = true;
    was_playing = status.is_playing;
  }
  if (is_watched) fmt::print("\n");
  return ExitCode::done;
}

ExitCode list_devices() {
  const auto names = audio::device_names();
  if (names.empty()) {
    return tell({ErrorCode::no_device, "There is no sound device here; connect one."});
  }
  for (const std::string& name : names) fmt::print("{}\n", printable(name));
  return ExitCode::done;
}

}  // namespace

ExitCode run_play(const PlayOptions& options) {
  if (options.lists_devices) return list_devices();
  const auto source = sound_source(options.input, !options.without_recording);
  if (!source) return tell(source.error());
  const auto settings = settings_from(options, *source);
  if (!settings) return tell(settings.error());
  const auto stretch = typed_stretch(options.stretch, *source);
  if (!stretch) return tell(stretch.error());
  const auto player = player_from(*source);
  if (!player) return tell(player.error());
  (*player)->set(*settings);
  audio::PlayerOutput output(**player, opener_from(options));
  Session session{.options = options,
                  .source = *source,
                  .player = **player,
                  .output = output,
                  .settings = (*player)->settings(),
                  .begin_sample = stretch->begin_sample.value_or(
                      settings->loop ? settings->loop->begin_sample : 0),
                  .end_sample = stretch->end_sample};
  if (session.begin_sample >= (*player)->length_samples()) {
    return tell({ErrorCode::invalid_argument,
                 fmt::format("'{}' ends before that place; choose an earlier one.",
                             options.input.string())});
  }
  if (auto opened = output.open(); !opened) return tell(opened.error());
  if (!(session.settings.low_voice == audio::LowVoiceSettings{}) && source->recording) {
    remark(fmt::format("Playing {}.", audio::low_voice_source((*player)->has_low_voice_notes())));
  }
  const auto ended = play(session);
  if (!ended) return tell(ended.error());
  return *ended;
}

}  // namespace lowstride::cli
