#include "tests/gui/desk_stage.hpp"

#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <thread>

#include <fmt/format.h>
#include <imgui.h>
#include <stb/stb_image_write.h>

#include "src/take/storage.hpp"

namespace lowstride::desk::testing_help {
namespace {

namespace fs = std::filesystem;

struct Target {
  Picture& picture;
  const unsigned char* texture;  // the fonts' coverage
  const Pixels* image;           // instead of it
  int texture_width;
  int texture_height;
};

float edge(const ImVec2& a, const ImVec2& b, float x, float y) {
  return (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x);
}

void triangle(const Target& target, const ImVec4& clip, const ImDrawVert& a, const ImDrawVert& b,
              const ImDrawVert& c) {
  const float area = edge(a.pos, b.pos, c.pos.x, c.pos.y);
  if (area == 0.0F) return;
  const int x0 = std::max({0, static_cast<int>(clip.x),
                           static_cast<int>(std::floor(std::min({a.pos.x, b.pos.x, c.pos.x})))});
  const int x1 = std::min({target.picture.width, static_cast<int>(clip.z),
                           static_cast<int>(std::ceil(std::max({a.pos.x, b.pos.x, c.pos.x}))) + 1});
  const int y0 = std::max({0, static_cast<int>(clip.y),
                           static_cast<int>(std::floor(std::min({a.pos.y, b.pos.y, c.pos.y})))});
  const int y1 = std::min({target.picture.height, static_cast<int>(clip.w),
                           static_cast<int>(std::ceil(std::max({a.pos.y, b.pos.y, c.pos.y}))) + 1});
  for (int y = y0; y < y1; ++y) {
    for (int x = x0; x < x1; ++x) {
      const float px = static_cast<float>(x) + 0.5F;
      const float py = static_cast<float>(y) + 0.5F;
      const float wa = edge(b.pos, c.pos, px, py) / area;
      const float wb = edge(c.pos, a.pos, px, py) / area;
      const float wc = 1.0F - wa - wb;
      if (wa < 0.0F || wb < 0.0F || wc < 0.0F) continue;
      const float u = wa * a.uv.x + wb * b.uv.x + wc * c.uv.x;
      const float v = wa * a.uv.y + wb * b.uv.y + wc * c.uv.y;
      const int tx = std::clamp(static_cast<int>(u * static_cast<float>(target.texture_width)), 0,
                                target.texture_width - 1);
      const int ty = std::clamp(static_cast<int>(v * static_cast<float>(target.texture_height)), 0,
                                target.texture_height - 1);
      const auto texel = [&](unsigned shift) {
        const int at = ty * target.texture_width + tx;
        if (target.image == nullptr) {
          return shift == 24 ? static_cast<float>(target.texture[at]) / 255.0F : 1.0F;
        }
        const std::size_t byte = static_cast<std::size_t>(4 * at) + shift / 8;
        return static_cast<float>(target.image->rgba[byte]) / 255.0F;
      };
      const float coverage = texel(24);
      const auto channel = [&](unsigned shift) {
        return (wa * static_cast<float>(a.col >> shift & 255U) +
                wb * static_cast<float>(b.col >> shift & 255U) +
                wc * static_cast<float>(c.col >> shift & 255U)) *
               (shift == 24 ? 1.0F : texel(shift));
      };
      const float alpha = channel(24) / 255.0F * coverage;
      if (alpha <= 0.0F) continue;
      unsigned char* out =
          &target.picture.rgb[3 * static_cast<std::size_t>(y * target.picture.width + x)];
      for (unsigned i = 0; i < 3; ++i) {
        out[i] = static_cast<unsigned char>(
            std::lround(channel(8 * i) * alpha + static_cast<float>(out[i]) * (1.0F - alpha)));
      }
    }
  }
}

}  // namespace

Colour Picture::at(int x, int y) const {
  const auto i = 3 * static_cast<std::size_t>(y * width + x);
  return {rgb[i], rgb[i + 1], rgb[i + 2]};
}

int Picture::count_near(const Rect& rect, Colour colour, int reach) const {
  int count = 0;
  const auto is_near = [reach](std::uint8_t a, std::uint8_t b) { return std::abs(a - b) <= reach; };
  for (int y = std::max(0, static_cast<int>(rect.y0));
       y < std::min(height, static_cast<int>(rect.y1)); ++y) {
    for (int x = std::max(0, static_cast<int>(rect.x0));
         x < std::min(width, static_cast<int>(rect.x1)); ++x) {
      const Colour here = at(x, y);
      if (is_near(here.red, colour.red) && is_near(here.green, colour.green) &&
          is_near(here.blue, colour.blue)) {
        ++count;
      }
    }
  }
  return count;
}

void Picture::save(const fs::path& path) const {
  fs::create_directories(path.parent_path());
  stbi_write_png(path.c_str(), width, height, 3, rgb.data(), width * 3);
}

Picture rasterised(const ImDrawData& data, ImFontAtlas& atlas, Colour ground) {
  Picture picture;
  picture.width = static_cast<int>(data.DisplaySize.x);
  picture.height = static_cast<int>(data.DisplaySize.y);
  picture.rgb.resize(3 * static_cast<std::size_t>(picture.width * picture.height));
  for (std::size_t i = 0; i < picture.rgb.size(); i += 3) {
    picture.rgb[i] = ground.red;
    picture.rgb[i + 1] = ground.green;
    picture.rgb[i + 2] = ground.blue;
  }
  Target target{picture, nullptr, nullptr, 0, 0};
  unsigned char* pixels = nullptr;
  atlas.GetTexDataAsAlpha8(&pixels, &target.texture_width, &target.texture_height);
  target.texture = pixels;
  for (int l = 0; l < data.CmdListsCount; ++l) {
    const ImDrawList& list = *data.CmdLists[l];
    for (const ImDrawCmd& command : list.CmdBuffer) {
      if (command.UserCallback != nullptr) continue;
      Target on = target;
      if (command.TextureId != atlas.TexID) {
        on.image = static_cast<const Pixels*>(command.TextureId);
        on.texture_width = on.image->width;
        on.texture_height = on.image->height;
      }
      for (unsigned i = 0; i + 2 < command.ElemCount; i += 3) {
        const auto vertex = [&](unsigned k) -> const ImDrawVert& {
          const auto index =
              static_cast<unsigned>(list.IdxBuffer[static_cast<int>(command.IdxOffset + i + k)]);
          return list.VtxBuffer[static_cast<int>(command.VtxOffset + index)];
        };
        triangle(on, command.ClipRect, vertex(0), vertex(1), vertex(2));
      }
    }
  }
  return picture;
}

DeskStage::DeskStage(const Options& options) : scale_(options.scale) {
  folder_ = fs::temp_directory_path() /
            fmt::format("lowstride-desk-{}-{}", ::getpid(), reinterpret_cast<std::uintptr_t>(this));
  fs::create_directories(folder_);
  ::setenv("XDG_STATE_HOME", (folder_ / "state").c_str(), 1);
  ImGui::CreateContext();
  ImGuiIO& io = ImGui::GetIO();
  io.IniFilename = nullptr;
  io.DisplaySize = {options.width, options.height};
  io.DeltaTime = 1.0F / 60.0F;
  io.BackendFlags |= ImGuiBackendFlags_RendererHasVtxOffset;
  for (int key = 0; key < ImGuiKey_COUNT; ++key) io.KeyMap[key] = key;
  fonts_ = build_fonts(*io.Fonts, scale_);
  unsigned char* pixels = nullptr;
  int width = 0;
  int height = 0;
  io.Fonts->GetTexDataAsAlpha8(&pixels, &width, &height);
  DeskOptions desk_options;
  desk_options.settings_path = options.settings;
  desk_options.textures = &textures_;
  desk_options.make_hearing = [this](const fs::path&, const take::Take&, const std::string&) {
    auto ears = std::make_unique<DeafHearing>();
    ears_ = ears.get();
    return ears;
  };
  if (options.make_hearing) desk_options.make_hearing = options.make_hearing;
  desk_ = std::make_unique<Desk>(std::move(desk_options));
  apply_style(desk_->theme(), scale_);
  io.MousePos = {-1000.0F, -1000.0F};
  step(2);
}

DeskStage::~DeskStage() {
  desk_.reset();
  ImGui::DestroyContext();
  std::error_code ignored;
  fs::remove_all(folder_, ignored);
}

void DeskStage::open(const take::Take& take) {
  const fs::path path = folder_ / fmt::format("take-{}.take", ++take_number_);
  const auto saved = take::save_copy(take, path);
  if (!saved) throw std::runtime_error(saved.error().message);
  open(path);
}

void DeskStage::open(const fs::path& path) {
  desk_->open(path);
  settle();
}

void DeskStage::step(int frames) {
  for (int i = 0; i < frames; ++i) {
    apply_style(desk_->theme(), scale_);
    ImGui::NewFrame();
    desk_->frame(fonts_, scale_);
    ImGui::Render();
    ImGuiIO& io = ImGui::GetIO();
    io.MouseWheel = 0.0F;
  }
}

void DeskStage::settle() {
  step(2);
  desk_->session().wait();
  step(2);
  while (desk_->is_opening_ears()) {
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
    step();
  }
}

bool DeskStage::settle_export() {
  for (int i = 0; i < 2000; ++i) {
    step(2);
    if (!desk_->export_dialog().is_busy()) return true;
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  return false;
}

void DeskStage::move(Point at) {
  ImGui::GetIO().MousePos = {at.x, at.y};
  step();
}

void DeskStage::press(int button) {
  ImGui::GetIO().MouseDown[button] = true;
  step();
}

void DeskStage::release(int button) {
  ImGui::GetIO().MouseDown[button] = false;
  step();
}

void DeskStage::click(Point at, int button) {
  // Longer ago than a double click reaches.
  const float usual = ImGui::GetIO().DeltaTime;
  ImGui::GetIO().DeltaTime = 1.0F;
  move(at);
  ImGui::GetIO().DeltaTime = usual;
  press(button);
  release(button);
}

void DeskStage::double_click(Point at) {
  click(at);
  press();
  release();
}

void DeskStage::drag(Point from, Point to) {
  const float usual = ImGui::GetIO().DeltaTime;
  ImGui::GetIO().DeltaTime = 1.0F;
  move(from);
  ImGui::GetIO().DeltaTime = usual;
  press();
  for (int i = 1; i <= 4; ++i) {
    const auto share = static_cast<float>(i) / 4.0F;
    move({from.x + (to.x - from.x) * share, from.y + (to.y - from.y) * share});
  }
  release();
}

void DeskStage::wheel(Point at, float steps) {
  move(at);
  ImGui::GetIO().MouseWheel = steps;
  step();
}

void DeskStage::hold(bool control, bool shift, bool alt) {
  ImGuiIO& io = ImGui::GetIO();
  io.KeyCtrl = control;
  io.KeyShift = shift;
  io.KeyAlt = alt;
}

void DeskStage::key(const char* chord) {
  desk_->press(*parse_key_chord(chord));
  step();
}

void DeskStage::press_key(const char* chord, int times) {
  const KeyChord wanted = *parse_key_chord(chord);
  const std::pair<int, ImGuiKey> known[] = {
      {keys::enter, ImGuiKey_Enter},    {keys::escape, ImGuiKey_Escape},
      {keys::up, ImGuiKey_UpArrow},     {keys::down, ImGuiKey_DownArrow},
      {keys::left, ImGuiKey_LeftArrow}, {keys::right, ImGuiKey_RightArrow},
      {keys::tab, ImGuiKey_Tab},        {' ', ImGuiKey_Space},
  };
  const auto* found = std::ranges::find(known, wanted.key, &std::pair<int, ImGuiKey>::first);
  if (found == std::end(known)) throw std::runtime_error("a key that dialogs do not know");
  for (int i = 0; i < times; ++i) {
    ImGuiIO& io = ImGui::GetIO();
    io.KeysDown[found->second] = true;
    desk_->press(wanted);
    step();
    io.KeysDown[found->second] = false;
    step(2);
  }
}

void DeskStage::type(const std::string& text) {
  ImGui::GetIO().AddInputCharactersUTF8(text.c_str());
  step(2);
}

void DeskStage::enter() {
  ImGuiIO& io = ImGui::GetIO();
  io.KeysDown[ImGuiKey_Enter] = true;
  step();
  io.KeysDown[ImGuiKey_Enter] = false;
  step(2);
}

Picture DeskStage::picture() {
  step();
  return rasterised(*ImGui::GetDrawData(), *ImGui::GetIO().Fonts, desk_->theme().background);
}

Rect DeskStage::chip_of(std::size_t note_index) {
  for (const NoteBox& note : desk_->lanes().notes) {
    if (note.index == note_index) return note.chip;
  }
  throw std::runtime_error("the note is not in view");
}

Point DeskStage::on_note(std::size_t note_index) {
  const Rect chip = chip_of(note_index);
  return {(chip.x0 + chip.x1) / 2.0F, chip.middle_y()};
}

fs::path picture_folder() {
  if (const char* folder = std::getenv("LOWSTRIDE_PICTURES")) return folder;
  return LOWSTRIDE_PICTURE_FOLDER;
}

}  // namespace lowstride::desk::testing_help
