#pragma once

#include <string>
#include <vector>

#include "src/cli/options.hpp"

namespace CLI {
class App;
}

// The commands of the program with their options and help, each into a struct of what was typed,
// which must live as long as the tree.
namespace lowstride::cli {

// declare_recording.cpp: from and with a recording.
void add_lift(CLI::App& app, LiftOptions& options);
void add_slow(CLI::App& app, SlowOptions& options);
void add_play(CLI::App& app, PlayOptions& options);

// declare_take.cpp: a take worked on, written and read.
void add_export(CLI::App& app, ExportOptions& options);
void add_finger(CLI::App& app, FingerOptions& options);
void add_arrange(CLI::App& app, ArrangeOptions& options);
void add_read(CLI::App& app, ReadOptions& options);
void add_compare(CLI::App& app, CompareOptions& options);
/// The group of those options of `edit` that are no operations.
inline constexpr const char* versions_group = "Versions";
/// `typed` only gives the options somewhere to leave their texts; operations_in_order() reads them.
CLI::App* add_edit(CLI::App& app, EditOptions& options, std::vector<std::string>& typed);

// declare_practice.cpp: practice and the window.
void add_drill(CLI::App& app, DrillOptions& options);
void add_list(CLI::App& app, ListOptions& options);
void add_desk(CLI::App& app, DeskOptions& options);

}  // namespace lowstride::cli
