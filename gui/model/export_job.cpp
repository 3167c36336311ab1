#include "gui/model/export_job.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <utility>

#include <fmt/format.h>
#include <stb/stb_image.h>

#include "src/audio/score_of_take.hpp"
#include "src/base/atomic_file.hpp"
#include "src/parts/levels.hpp"
#include "src/sheet/excerpt.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/page_painter.hpp"
#include "src/sheet/text_tab.hpp"

namespace lowstride::desk {
namespace {

namespace fs = std::filesystem;

constexpr double line_gain_db = -3.0;
constexpr double chords_gain_db = -9.0;
constexpr double ramp_step = 0.05;
constexpr double least_dots_per_inch = 96.0;
constexpr double most_dots_per_inch = 300.0;
constexpr std::size_t most_preview_bytes = 200'000;

const char* ending_of(SheetKind kind) {
  switch (kind) {
    case SheetKind::pdf:
      return ".pdf";
    case SheetKind::text:
      return ".txt";
    case SheetKind::svg:
      return ".svg";
    case SheetKind::png:
      return ".png";
    case SheetKind::musicxml:
      return ".musicxml";
    case SheetKind::midi:
      return ".mid";
    case SheetKind::tables:
      return "";
    case SheetKind::practice:
      return ".ogg";
  }
  return "";
}

/// The line or one of its levels, and which part of that.
struct Chosen {
  take::Take take;
  sheet::LayoutOptions layout;
  std::optional<parts::Level> level = {};
};

Result<Chosen> chosen(const take::Take& take, const ExportChoice& choice, std::optional<int> number,
                      const std::optional<take::Stretch>& marked) {
  Chosen one{take, {}};
  if (number) {
    one.level = parts::level_from_number(*number);
    if (!one.level) return fail(ErrorCode::invalid_argument, "There is no such level.");
    auto part = parts::level_take(take, *one.level);
    if (!part) return tl::unexpected(part.error());
    one.take = std::move(*part);
  }
  one.layout.has_repeats = !choice.is_written_out;
  switch (choice.part.kind) {
    case PartChoice::Kind::whole:
      break;
    case PartChoice::Kind::marked:
      if (!marked) {
        return fail(ErrorCode::not_found,
                    "No stretch is marked; drag over the bar numbers to mark one.");
      }
      one.layout.stretch =
          number ? take::Stretch{parts::sample_in_part(take, one.take, marked->begin_samples),
                                 parts::sample_in_part(take, one.take, marked->end_samples)}
                 : *marked;
      break;
    case PartChoice::Kind::passage: {
      const auto passage =
          std::ranges::find(one.take.passages, choice.part.passage, &take::Passage::name);
      if (passage == one.take.passages.end()) {
        return fail(ErrorCode::not_found,
                    fmt::format("There is no passage '{}'; choose one.", choice.part.passage));
      }
      one.layout.stretch = take::Stretch{passage->begin_samples, passage->end_samples};
      break;
    }
    case PartChoice::Kind::bars:
      one.layout.first_bar = std::min(choice.part.first_bar, choice.part.last_bar);
      one.layout.last_bar = std::max(choice.part.first_bar, choice.part.last_bar);
      break;
  }
  return one;
}

/// The line, its level or all levels. One at least.
Result<std::vector<Chosen>> all_chosen(const take::Take& take, const ExportChoice& choice,
                                       const std::optional<take::Stretch>& marked) {
  std::vector<std::optional<int>> numbers{choice.level};
  if (choice.has_all_levels && holds_all_levels(choice.kind)) {
    numbers.clear();
    for (const parts::Level level : parts::all_levels) numbers.push_back(static_cast<int>(level));
  }
  std::vector<Chosen> all;
  for (const std::optional<int>& number : numbers) {
    auto one = chosen(take, choice, number, marked);
    if (!one) return tl::unexpected(one.error());
    all.push_back(std::move(*one));
  }
  return all;
}

/// The part as a stretch of time; nothing for the whole. Errors: bars that the take does not have.
Result<std::optional<take::Stretch>> stretch_of(const Chosen& one) {
  if (!one.layout.first_bar) return one.layout.stretch;
  const auto begin = take::sample_at(one.take, {*one.layout.first_bar, 1.0});
  const auto end = take::sample_at(one.take, {*one.layout.last_bar + 1, 1.0});
  const auto last = static_cast<double>(one.take.length_samples);
  if (!begin || *begin >= last || (end && *end <= *begin)) {
    return fail(ErrorCode::not_found, fmt::format("There are no bars {} to {}; choose others.",
                                                  *one.layout.first_bar, *one.layout.last_bar));
  }
  return take::Stretch{std::llround(std::max(0.0, *begin)),
                       std::llround(std::min(end.value_or(last), last))};
}

Result<audio::PracticeJob> practice_job(const take::Take& take, const ExportChoice& choice,
                                        const std::optional<take::Stretch>& marked,
                                        const fs::path& recording) {
  const auto one = chosen(take, choice, choice.level, marked);
  if (!one) return tl::unexpected(one.error());
  const auto stretch = stretch_of(*one);
  if (!stretch) return tl::unexpected(stretch.error());
  const PracticeChoice& practice = choice.practice;
  audio::PracticeJob job;
  // A level is heard by itself: it is not what was played.
  if (practice.has_recording && !choice.level && !recording.empty()) job.input = recording;
  job.time_base_hz = static_cast<double>(one->take.time_base_hz);
  job.output = choice.target;
  if (*stretch) {
    job.begin_sample = (*stretch)->begin_samples;
    job.end_sample = (*stretch)->end_samples;
  }
  job.score = audio::score_of_take(one->take);
  if (practice.last_speed_ratio) {
    auto speeds = audio::ramp_speeds(practice.speed_ratio, *practice.last_speed_ratio, ramp_step,
                                     practice.repeat_count);
    if (!speeds) return tl::unexpected(speeds.error());
    job.options.speed_ratios = std::move(*speeds);
  } else {
    job.options.speed_ratios.assign(static_cast<std::size_t>(std::max(1, practice.repeat_count)),
                                    practice.speed_ratio);
  }
  job.options.shift_semitones = practice.shift_semitones;
  job.options.count_in_bars = practice.count_in_bars;
  job.options.click = practice.click;
  job.low_voice = practice.low_voice;
  // Something must be heard.
  if (practice.has_line || !job.input) job.line_gain_db = line_gain_db;
  if (practice.has_chords || !job.input) job.chords_gain_db = chords_gain_db;
  job.tags.title = one->take.title;
  job.tags.artist = one->take.composer;
  return job;
}

/// Each level begins a page, with its name under the title of the whole.
std::vector<sheet::PageSection> page_sections(const take::Take& take,
                                              const std::vector<Chosen>& all) {
  std::vector<sheet::PageSection> sections;
  for (const Chosen& one : all) {
    sheet::PageSection& section = sections.emplace_back();
    section.take = one.take;
    section.take.title = take.title;
    section.stretch = one.layout.stretch;
    if (one.level) {
      section.subtitle =
          fmt::format("Level {}: {}", static_cast<int>(*one.level), parts::level_name(*one.level));
    }
  }
  return sections;
}

sheet::PageOptions page_options(const Chosen& one, const ExportChoice& choice) {
  sheet::PageOptions page;
  page.paper = choice.paper;
  page.staff = choice.is_tab_only ? sheet::StaffKind::tab_only : sheet::StaffKind::staff_and_tab;
  page.layout = one.layout;
  return page;
}

sheet::TextTabOptions text_options(const Chosen& one, const ExportChoice& choice) {
  sheet::TextTabOptions tab;
  tab.layout = one.layout;
  tab.width_columns = choice.width_columns;
  tab.has_roles = choice.has_roles;
  return tab;
}

/// Text tabs, one after another.
std::string text_of(const std::vector<Chosen>& all, const ExportChoice& choice) {
  std::string text;
  for (const Chosen& one : all) {
    if (!text.empty()) text += "\n\n";
    text += sheet::render_text_tab(one.take, text_options(one, choice));
  }
  return text;
}

/// The part that is asked for, for exports that are no sheets.
Result<take::Take> cut_out(const Chosen& one, bool begins_at_once) {
  auto cut = sheet::excerpt(one.take, one.layout);
  if (!cut || !begins_at_once || !sheet::asks_for_part(one.layout)) return cut;
  return sheet::begun_at_once(std::move(*cut));
}

/// A tempo map that follows a recording goes on while bars repeat: it is written out.
sheet::LayoutOptions score_options(const Chosen& one) {
  sheet::LayoutOptions layout = one.layout;
  layout.has_repeats = layout.has_repeats && !one.take.recording;
  return layout;
}

struct FreeImage {
  void operator()(unsigned char* pixels) const noexcept { stbi_image_free(pixels); }
};

Result<void> preview_page(const take::Take& take, const std::vector<Chosen>& all,
                          const ExportChoice& choice, std::size_t page, double dots_per_inch,
                          ExportPreview& preview) {
  const sheet::PagePainter painter;
  sheet::PageOptions options = page_options(all.front(), choice);
  if (choice.kind == SheetKind::musicxml) options.layout = score_options(all.front());
  const auto pages =
      sheet::lay_out_pages(page_sections(take, all), options,
                           [&painter](const std::string& text, const sheet::TextStyle& style) {
                             return painter.width(text, style);
                           });
  if (!pages) return tl::unexpected(pages.error());
  preview.page_count = pages->size();
  preview.page_index = std::min(page, pages->size() - 1);
  const auto png = painter.png((*pages)[preview.page_index],
                               std::clamp(dots_per_inch, least_dots_per_inch, most_dots_per_inch));
  if (!png) return tl::unexpected(png.error());
  auto pixels = pixels_of(*png);
  if (!pixels) return tl::unexpected(pixels.error());
  preview.page = std::move(*pixels);
  return {};
}

std::string midi_text(const take::Take& take, const ExportChoice& choice) {
  return fmt::format("{} notes, {} beats and {} chord names, {}, {}.\n", take.notes.size(),
                     take.beats.size(), take.chords.size(),
                     choice.is_quantised ? "as the sheet writes them" : "as they were played",
                     choice.is_steady ? "in one tempo" : "with the tempo of the recording");
}

/// What comes when, at which speed.
Result<std::string> practice_text(const take::Take& take, const ExportChoice& choice,
                                  const std::optional<take::Stretch>& marked) {
  auto job = practice_job(take, choice, marked, {});
  if (!job) return tl::unexpected(job.error());
  const auto plan =
      audio::plan_practice(job->score.beats, job->begin_sample.value_or(0),
                           job->end_sample.value_or(job->score.length_samples), job->options);
  if (!plan) return tl::unexpected(plan.error());
  const auto seconds = [&](std::int64_t sample) {
    return take::format_time(static_cast<double>(sample) / job->time_base_hz);
  };
  std::string text = fmt::format("{} long\n\n", seconds(plan->output_sample_count));
  for (std::size_t i = 0; i < plan->repetitions.size(); ++i) {
    const auto& repetition = plan->repetitions[i];
    text += fmt::format(
        "{:>3}.  {:>9}  {:>3.0f} %{}\n", i + 1, seconds(repetition.begin_sample),
        repetition.speed_ratio * 100.0,
        repetition.count_in_sample < repetition.begin_sample ? "  after a count-in" : "");
  }
  text +=
      "\nStart quietly: low notes in headphones are louder than they seem,\n"
      "and loops are long; take breaks.\n";
  return text;
}

}  // namespace

Result<Pixels> pixels_of(const std::string& png) {
  Pixels pixels;
  int channels = 0;
  const std::unique_ptr<unsigned char, FreeImage> bytes(stbi_load_from_memory(
      reinterpret_cast<const unsigned char*>(png.data()), static_cast<int>(png.size()),
      &pixels.width, &pixels.height, &channels, 4));
  if (!bytes) return fail(ErrorCode::unsupported, "The picture could not be drawn.");
  pixels.rgba.assign(bytes.get(), bytes.get() + static_cast<std::size_t>(pixels.width) *
                                                    static_cast<std::size_t>(pixels.height) * 4);
  return pixels;
}

bool holds_all_levels(SheetKind kind) noexcept {
  return kind == SheetKind::pdf || kind == SheetKind::text || kind == SheetKind::svg ||
         kind == SheetKind::png;
}

fs::path usual_target(const fs::path& take_path, const ExportChoice& choice) {
  fs::path target = take_path;
  target.replace_extension();
  if (choice.has_all_levels && holds_all_levels(choice.kind)) {
    target += " levels";
  } else if (choice.level) {
    target += fmt::format(" level {}", *choice.level);
  }
  // Never the recording's own name.
  if (choice.kind == SheetKind::practice) target += " practice";
  target += ending_of(choice.kind);
  return target;
}

Result<std::vector<fs::path>> write_sheet(const take::Take& take, const ExportChoice& choice,
                                          const std::optional<take::Stretch>& marked,
                                          const fs::path& recording, const WorkControl& control) {
  const auto written = [&choice](const Result<void>& done) -> Result<std::vector<fs::path>> {
    if (!done) return tl::unexpected(done.error());
    return std::vector<fs::path>{choice.target};
  };
  if (choice.kind == SheetKind::practice) {
    const auto job = practice_job(take, choice, marked, recording);
    if (!job) return tl::unexpected(job.error());
    const auto report = audio::render_practice(*job, control);
    if (!report) return tl::unexpected(report.error());
    return std::vector<fs::path>{choice.target};
  }
  const auto all = all_chosen(take, choice, marked);
  if (!all) return tl::unexpected(all.error());
  const Chosen& one = all->front();
  switch (choice.kind) {
    case SheetKind::text:
      return written(write_file_atomically(choice.target, text_of(*all, choice)));
    case SheetKind::musicxml:
      return written(sheet::export_musicxml(one.take, choice.target, score_options(one)));
    case SheetKind::midi: {
      const auto cut = cut_out(one, true);
      if (!cut) return tl::unexpected(cut.error());
      return written(
          sheet::export_midi(*cut, choice.target,
                             {.is_steady = choice.is_steady, .is_quantised = choice.is_quantised}));
    }
    case SheetKind::tables: {
      const auto cut = cut_out(one, false);
      if (!cut) return tl::unexpected(cut.error());
      if (const auto done = sheet::export_tables(*cut, choice.target); !done) {
        return tl::unexpected(done.error());
      }
      return sheet::table_paths(*cut, choice.target);
    }
    case SheetKind::pdf:
      return written(
          sheet::export_pdf(page_sections(take, *all), choice.target, page_options(one, choice)));
    default:
      return sheet::export_pictures(
          page_sections(take, *all), choice.target,
          choice.kind == SheetKind::svg ? sheet::PictureKind::svg : sheet::PictureKind::png,
          page_options(one, choice));
  }
}

ExportPreview preview_of(const take::Take& take, const ExportChoice& choice,
                         const std::optional<take::Stretch>& marked, std::size_t page,
                         double dots_per_inch) {
  ExportPreview preview;
  if (choice.kind == SheetKind::practice) {
    auto text = practice_text(take, choice, marked);
    preview.text = text ? std::move(*text) : text.error().message;
    return preview;
  }
  const auto all = all_chosen(take, choice, marked);
  if (!all) {
    preview.text = all.error().message;
    return preview;
  }
  switch (choice.kind) {
    case SheetKind::text:
      preview.text = text_of(*all, choice);
      break;
    case SheetKind::midi:
    case SheetKind::tables: {
      const auto cut = cut_out(all->front(), false);
      preview.text = !cut                               ? cut.error().message
                     : choice.kind == SheetKind::tables ? sheet::tables(*cut).notes_tsv
                                                        : midi_text(*cut, choice);
      break;
    }
    default:
      if (const auto done = preview_page(take, *all, choice, page, dots_per_inch, preview); !done) {
        preview.text = done.error().message;
      }
      break;
  }
  if (preview.text.size() > most_preview_bytes) {
    preview.text.resize(preview.text.rfind('\n', most_preview_bytes) + 1);
    preview.text += "…\n";
  }
  return preview;
}

}  // namespace lowstride::desk
