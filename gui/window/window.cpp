#include "gui/window/window.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <GLFW/glfw3.h>
#include <backends/imgui_impl_glfw.h>
#include <backends/imgui_impl_opengl3.h>
#include <fmt/format.h>
#include <imgui.h>

namespace lowstride::desk {
namespace {

static_assert(keys::escape == GLFW_KEY_ESCAPE && keys::enter == GLFW_KEY_ENTER &&
              keys::del == GLFW_KEY_DELETE && keys::right == GLFW_KEY_RIGHT &&
              keys::up == GLFW_KEY_UP && keys::page_up == GLFW_KEY_PAGE_UP &&
              keys::home == GLFW_KEY_HOME && keys::end == GLFW_KEY_END && keys::f1 == GLFW_KEY_F1);

struct TerminateGlfw {
  TerminateGlfw() = default;
  TerminateGlfw(const TerminateGlfw&) = delete;
  TerminateGlfw& operator=(const TerminateGlfw&) = delete;
  ~TerminateGlfw() { glfwTerminate(); }
};
struct CloseWindow {
  void operator()(GLFWwindow* window) const noexcept { glfwDestroyWindow(window); }
};
struct EndImGui {
  EndImGui() = default;
  EndImGui(const EndImGui&) = delete;
  EndImGui& operator=(const EndImGui&) = delete;
  ~EndImGui() {
    ImGui_ImplOpenGL3_Shutdown();
    ImGui_ImplGlfw_Shutdown();
    ImGui::DestroyContext();
  }
};

/// Where callbacks find the desk, and whether anything happened since the last frame.
struct Link {
  Desk* desk = nullptr;
  int fresh_frames = 3;
  std::vector<int> went_down = {};  // keys since the last frame, as GLFW numbers them
};

Link& link_of(GLFWwindow* window) { return *static_cast<Link*>(glfwGetWindowUserPointer(window)); }

/// The key as the player's keyboard has it, not where it lies on an American one.
int printed_key(int key, int scancode) {
  if (key >= GLFW_KEY_ESCAPE || key == GLFW_KEY_SPACE) {
    return key == GLFW_KEY_KP_ENTER ? keys::enter : key;
  }
  const char* name = glfwGetKeyName(key, scancode);
  if (name != nullptr && name[0] > ' ' && name[0] < 127 && name[1] == '\0') {
    return std::toupper(static_cast<unsigned char>(name[0]));
  }
  return key;
}

// Dear ImGui 1.86 has no queue of events: a key that goes down and up between two frames is lost to
// it. Commands therefore come from here, and for its text fields such a key is held for a frame.
void on_key(GLFWwindow* window, int key, int scancode, int action, int mods) {
  Link& link = link_of(window);
  link.fresh_frames = 3;
  if (action == GLFW_RELEASE || key == GLFW_KEY_UNKNOWN) return;
  const bool is_modifier = key >= GLFW_KEY_LEFT_SHIFT && key <= GLFW_KEY_RIGHT_SUPER;
  if (is_modifier) return;
  link.went_down.push_back(key);
  link.desk->press({printed_key(key, scancode), (mods & GLFW_MOD_CONTROL) != 0,
                    (mods & GLFW_MOD_SHIFT) != 0, (mods & GLFW_MOD_ALT) != 0});
}

void on_drop(GLFWwindow* window, int count, const char** paths) {
  Link& link = link_of(window);
  link.fresh_frames = 3;
  if (count > 0) link.desk->open(paths[0]);
}

template <typename... Arguments>
void on_any(GLFWwindow* window, Arguments... /*unused*/) {
  link_of(window).fresh_frames = 3;
}

/// Pictures in the graphics memory of the window's context.
class GlTextures final : public Textures {
 public:
  ImTextureID put(const Pixels& pixels) override {
    GLuint name = 0;
    glGenTextures(1, &name);
    glBindTexture(GL_TEXTURE_2D, name);
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR);
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MAG_FILTER, GL_LINEAR);
    glPixelStorei(GL_UNPACK_ROW_LENGTH, 0);
    glTexImage2D(GL_TEXTURE_2D, 0, GL_RGBA, pixels.width, pixels.height, 0, GL_RGBA,
                 GL_UNSIGNED_BYTE, pixels.rgba.data());
    // NOLINTNEXTLINE(performance-no-int-to-ptr): the interface's name of a texture is a pointer
    return reinterpret_cast<ImTextureID>(static_cast<std::uintptr_t>(name));
  }
  void drop(ImTextureID texture) override {
    const auto name = static_cast<GLuint>(reinterpret_cast<std::uintptr_t>(texture));
    glDeleteTextures(1, &name);
  }
};

float scale_of(GLFWwindow* window, const Desk& desk) {
  float x = 1.0F;
  float y = 1.0F;
  glfwGetWindowContentScale(window, &x, &y);
  const auto scale = static_cast<float>(std::max(x, y) * desk.text_scale());
  return std::clamp(std::round(scale * 20.0F) / 20.0F, 0.5F, 4.0F);
}

std::string glfw_words() {
  const char* words = nullptr;
  glfwGetError(&words);
  return words != nullptr ? words : "no reason was given";
}

}  // namespace

Result<void> run_window(DeskOptions options, const std::optional<std::filesystem::path>& path) {
  if (glfwInit() != GLFW_TRUE) {
    return fail(ErrorCode::no_device,
                fmt::format("The desk needs a screen ({}); start it in a graphical session.",
                            glfw_words()));
  }
  const TerminateGlfw terminate;
  glfwWindowHint(GLFW_CONTEXT_VERSION_MAJOR, 3);
  glfwWindowHint(GLFW_CONTEXT_VERSION_MINOR, 2);
  glfwWindowHint(GLFW_OPENGL_PROFILE, GLFW_OPENGL_CORE_PROFILE);
  glfwWindowHint(GLFW_SCALE_TO_MONITOR, GLFW_TRUE);
  glfwWindowHintString(GLFW_X11_CLASS_NAME, "lowstride");
  glfwWindowHintString(GLFW_X11_INSTANCE_NAME, "lowstride");
  const std::unique_ptr<GLFWwindow, CloseWindow> window(
      glfwCreateWindow(1280, 720, "Lowstride", nullptr, nullptr));
  if (!window) {
    return fail(ErrorCode::no_device,
                fmt::format("The window needs OpenGL 3.2 ({}); install the graphics driver or "
                            "Mesa (libgl1-mesa-dri).",
                            glfw_words()));
  }
  glfwMakeContextCurrent(window.get());
  glfwSwapInterval(1);
  ImGui::CreateContext();
  ImGuiIO& io = ImGui::GetIO();
  io.IniFilename = nullptr;
  GlTextures textures;
  options.textures = &textures;
  Desk desk(std::move(options));
  Link link{.desk = &desk};
  glfwSetWindowUserPointer(window.get(), &link);
  // Before the back end's own, which calls these in turn.
  glfwSetKeyCallback(window.get(), on_key);
  glfwSetDropCallback(window.get(), on_drop);
  glfwSetCursorPosCallback(window.get(), on_any<double, double>);
  glfwSetMouseButtonCallback(window.get(), on_any<int, int, int>);
  glfwSetScrollCallback(window.get(), on_any<double, double>);
  glfwSetCharCallback(window.get(), on_any<unsigned int>);
  glfwSetFramebufferSizeCallback(window.get(), on_any<int, int>);
  glfwSetWindowRefreshCallback(window.get(), on_any<>);
  ImGui_ImplGlfw_InitForOpenGL(window.get(), true);
  ImGui_ImplOpenGL3_Init("#version 150");
  const EndImGui end_imgui;
  if (path) desk.open(*path);

  Fonts fonts;
  float scale = 0.0F;
  bool is_dark = true;
  std::string title;
  while (!desk.wants_to_close() && glfwWindowShouldClose(window.get()) == GLFW_FALSE) {
    if (desk.is_busy()) {
      glfwPollEvents();
    } else if (link.fresh_frames > 0) {
      glfwWaitEventsTimeout(0.01);
    } else {
      glfwWaitEventsTimeout(0.25);
    }
    link.fresh_frames = std::max(0, link.fresh_frames - 1);
    const float wanted = scale_of(window.get(), desk);
    if (wanted != scale || desk.theme().is_dark != is_dark) {
      if (wanted != scale) {
        ImGui_ImplOpenGL3_DestroyFontsTexture();
        fonts = build_fonts(*io.Fonts, wanted);
        ImGui_ImplOpenGL3_CreateFontsTexture();
      }
      scale = wanted;
      is_dark = desk.theme().is_dark;
      apply_style(desk.theme(), scale);
    }
    ImGui_ImplOpenGL3_NewFrame();
    ImGui_ImplGlfw_NewFrame();
    std::vector<int> held;
    for (const int key : link.went_down) {
      if (io.KeysDown[key]) continue;
      io.KeysDown[key] = true;
      held.push_back(key);
    }
    link.went_down.clear();
    ImGui::NewFrame();
    for (const int key : held) io.KeysDown[key] = false;
    desk.frame(fonts, scale);
    ImGui::Render();
    int width = 0;
    int height = 0;
    glfwGetFramebufferSize(window.get(), &width, &height);
    glViewport(0, 0, width, height);
    const Colour ground = desk.theme().background;
    glClearColor(static_cast<float>(ground.red) / 255.0F, static_cast<float>(ground.green) / 255.0F,
                 static_cast<float>(ground.blue) / 255.0F, 1.0F);
    glClear(GL_COLOR_BUFFER_BIT);
    ImGui_ImplOpenGL3_RenderDrawData(ImGui::GetDrawData());
    glfwSwapBuffers(window.get());
    if (std::string now = desk.window_title(); now != title) {
      title = std::move(now);
      glfwSetWindowTitle(window.get(), title.c_str());
    }
  }
  return {};
}

}  // namespace lowstride::desk
