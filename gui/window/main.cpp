#include <cstdio>
#include <exception>
#include <filesystem>
#include <new>
#include <optional>
#include <string_view>

#include <fftw3.h>

#include "gui/model/drill_sound.hpp"
#include "gui/model/listening.hpp"
#include "gui/window/window.hpp"

namespace {

constexpr const char* usage =
    "Usage: lowstride desk [TAKE|RECORDING]\n"
    "The window in which a take is worked on. Keys and gestures: F1 inside.\n";

int run(int argc, char** argv) {
  if (argc > 2 || (argc == 2 && std::string_view(argv[1]) == "--help")) {
    std::fputs(usage, argc > 2 ? stderr : stdout);
    return argc > 2 ? 2 : 0;
  }
  // aubio guards FFTW's planner with a lock that our own plans do not take.
  fftwf_make_planner_thread_safe();
  lowstride::desk::DeskOptions options;
  options.settings_path = lowstride::desk::settings_path();
  options.make_hearing = lowstride::desk::make_listening;
  options.make_drill_sound = lowstride::desk::make_drill_sound;
  std::optional<std::filesystem::path> path;
  if (argc == 2) path = argv[1];
  const auto done = lowstride::desk::run_window(std::move(options), path);
  if (done) return 0;
  std::fprintf(stderr, "lowstride desk: %s\n", done.error().message.c_str());
  return 1;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const std::bad_alloc&) {
    std::fputs("lowstride desk: not enough memory; every edit is in the journal.\n", stderr);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "lowstride desk: internal error: %s; every edit is in the journal.\n",
                 error.what());
  }
  return 1;
}
