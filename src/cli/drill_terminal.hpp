#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "src/cli/console.hpp"
#include "src/drill/session.hpp"

namespace lowstride::cli {

/// Sounds orders for a terminal; returns when they have sounded or an interrupt came.
using Sounding = std::function<void(const std::vector<drill::SoundOrder>&)>;

/// Hears an answer that is played. Nothing: it is typed. Errors end nothing; they are said and the
/// answer is typed.
using Hearing = std::function<std::optional<Result<drill::Answer>>(const drill::Session&)>;

/// Leads a player through a session: questions on standard output, answers from standard input, one
/// a line. Ends at the session's end, on `q`, at the end of the input and on an interrupt; whatever
/// was answered is kept then.
[[nodiscard]] ExitCode lead_session(drill::Session& session, const Sounding& sounding,
                                    const Hearing& hearing);

/// A line from standard input, without its end. Nothing at the end of the input or on an interrupt.
[[nodiscard]] std::optional<std::string> read_line();

/// The moment by the system's two clocks. Tests set the calendar's by LOWSTRIDE_NOW, seconds since
/// 1970.
[[nodiscard]] drill::Moment present_moment();

}  // namespace lowstride::cli
