#include <unistd.h>

#include <array>
#include <filesystem>
#include <string>
#include <system_error>
#include <vector>

#include "src/cli/commands.hpp"

namespace lowstride::cli {
namespace {

namespace fs = std::filesystem;

/// The window's program: beside this one, or in the build tree (build/src/cli, build/gui).
fs::path desk_program() {
  std::error_code error;
  const fs::path folder = fs::read_symlink("/proc/self/exe", error).parent_path();
  const std::array places{folder / "lowstride-desk",
                          folder.parent_path().parent_path() / "gui" / "lowstride-desk"};
  for (const fs::path& place : places) {
    if (::access(place.c_str(), X_OK) == 0) return place;
  }
  return {};
}

}  // namespace

ExitCode run_desk(const DeskOptions& options) {
  const fs::path program = desk_program();
  if (program.empty()) {
    return tell({ErrorCode::not_found,
                 "The program lowstride-desk, which belongs beside this one, is missing; install "
                 "Lowstride again, or build it with libimgui-dev, libglfw3-dev and libgl-dev."});
  }
  std::error_code error;
  if (!options.input.empty() && !fs::exists(options.input, error)) {
    return tell({ErrorCode::not_found, "'" + printable(options.input.string()) +
                                           "' is not there; give a take or a recording."});
  }
  std::string name = program.string();
  std::string input = options.input.string();
  std::vector<char*> words{name.data()};
  if (!input.empty()) words.push_back(input.data());
  words.push_back(nullptr);
  ::execv(name.c_str(), words.data());
  return tell(
      {ErrorCode::unreadable, "'" + name + "' cannot be started; install Lowstride again."});
}

}  // namespace lowstride::cli
