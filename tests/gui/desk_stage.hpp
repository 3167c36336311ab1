#pragma once

#include <filesystem>
#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gui/draw/desk.hpp"
#include "gui/model/actions.hpp"

namespace lowstride::desk::testing_help {

/// A picture of 8-bit RGB, rasterised on the processor.
struct Picture {
  int width = 0;
  int height = 0;
  std::vector<unsigned char> rgb;

  [[nodiscard]] Colour at(int x, int y) const;
  /// Pixels of a rectangle whose colour is within `reach` of `colour` in each channel.
  [[nodiscard]] int count_near(const Rect& rect, Colour colour, int reach = 24) const;
  void save(const std::filesystem::path& path) const;
};

/// Pictures that the rasteriser finds again by their address.
struct PictureStore final : Textures {
  std::vector<std::unique_ptr<Pixels>> pictures;

  ImTextureID put(const Pixels& pixels) override {
    pictures.push_back(std::make_unique<Pixels>(pixels));
    return pictures.back().get();
  }
  void drop(ImTextureID texture) override {
    std::erase_if(pictures, [texture](const auto& one) { return one.get() == texture; });
  }
};

/// Draws what ImGui wants drawn: textured triangles, blended, clipped.
[[nodiscard]] Picture rasterised(const ImDrawData& data, ImFontAtlas& atlas, Colour ground);

/// Ears that hear nothing and write down what they were told.
struct DeafHearing final : Hearing {
  HearingSettings settings;
  bool is_playing = false;
  double place = 0.0;
  int take_count = 0;
  std::vector<int> midis;  // of the last take

  void set(const HearingSettings& now) override { settings = now; }
  void set_take(const take::Take& take) override {
    ++take_count;
    midis.clear();
    for (const take::Note& note : take.notes) midis.push_back(note.midi);
  }
  void play_from(std::int64_t sample) override {
    is_playing = true;
    place = static_cast<double>(sample);
  }
  void stop() override { is_playing = false; }
  void seek(std::int64_t sample) override { place = static_cast<double>(sample); }
  HearingStatus status() override { return {is_playing, place, 0.0, {}}; }
  std::string notice() const override { return {}; }
};

/// The whole desk without a window: frames are stepped, input is fed, draw data comes back.
class DeskStage {
 public:
  struct Options {
    float width = 1280.0F;
    float height = 720.0F;
    float scale = 1.0F;
    std::optional<std::filesystem::path> settings = {};
    decltype(DeskOptions::make_hearing) make_hearing = {};  // else the ears are DeafHearing
  };
  explicit DeskStage(const Options& options);
  DeskStage() : DeskStage(Options{}) {}
  DeskStage(const DeskStage&) = delete;
  DeskStage& operator=(const DeskStage&) = delete;
  ~DeskStage();

  /// Saves the take into a file of its own folder and opens it.
  void open(const take::Take& take);
  void open(const std::filesystem::path& path);
  void step(int frames = 1);
  /// Steps until background work is done and taken in.
  void settle();
  /// Steps until the sheets' window has drawn what it shows; false when that never ends.
  [[nodiscard]] bool settle_export();

  void move(Point at);
  void press(int button = 0);
  void release(int button = 0);
  void click(Point at, int button = 0);
  void double_click(Point at);
  void drag(Point from, Point to);
  void wheel(Point at, float steps);
  void hold(bool control, bool shift, bool alt);
  /// To the desk alone, as most keys are acted on.
  void key(const char* chord);
  /// To the desk and to ImGui, as the window does: for what the keyboard does in dialogs.
  void press_key(const char* chord, int times = 1);
  void type(const std::string& text);
  /// Enter, as a text field wants it.
  void enter();

  [[nodiscard]] Picture picture();
  [[nodiscard]] Desk& desk() { return *desk_; }
  [[nodiscard]] DeafHearing* ears() { return ears_; }
  [[nodiscard]] const take::Take& take() { return desk_->session().take(); }
  [[nodiscard]] const std::filesystem::path& folder() const { return folder_; }
  [[nodiscard]] Rect chip_of(std::size_t note_index);
  /// A point in the middle of a note's number.
  [[nodiscard]] Point on_note(std::size_t note_index);

 private:
  std::filesystem::path folder_;
  PictureStore textures_;  // before the desk, which gives its pictures back
  Fonts fonts_;
  float scale_;
  std::unique_ptr<Desk> desk_;
  DeafHearing* ears_ = nullptr;
  int take_number_ = 0;
};

/// Where pictures are kept to be looked at: $LOWSTRIDE_PICTURES, else the tests' own build folder.
[[nodiscard]] std::filesystem::path picture_folder();

}  // namespace lowstride::desk::testing_help
