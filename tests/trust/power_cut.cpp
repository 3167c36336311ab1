#include "tests/trust/power_cut.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <fstream>
#include <iterator>
#include <thread>
#include <utility>

namespace lowstride::testing_help {
namespace {

namespace fs = std::filesystem;
constexpr int folder_id = -2;

std::string name_of(const char* path) { return fs::path(path).filename().string(); }

}  // namespace

RecordingDisk::RecordingDisk(fs::path folder) : folder_(std::move(folder)) {
  for (const auto& entry : fs::directory_iterator(folder_)) {
    std::ifstream stream(entry.path(), std::ios::binary);
    at_first_[next_id_] = {std::istreambuf_iterator<char>(stream), {}};
    names_[entry.path().filename().string()] = next_id_++;
  }
  names_at_first_ = names_;
}

std::size_t RecordingDisk::change_count() const {
  const std::scoped_lock lock(mutex_);
  return changes_.size();
}

bool RecordingDisk::is_here(const fs::path& path) const {
  return fs::absolute(path).lexically_normal().parent_path() == folder_;
}

void RecordingDisk::change_names(const Change& change, Names& names) {
  switch (change.kind) {
    case Kind::name:
      names[change.a] = change.id;
      break;
    case Kind::rename:
      // Two names of one file are left as they are.
      if (names.at(change.a) == (names.contains(change.b) ? names.at(change.b) : -1)) break;
      names[change.b] = names.at(change.a);
      names.erase(change.a);
      break;
    case Kind::exchange:
      std::swap(names.at(change.a), names.at(change.b));
      break;
    case Kind::unlink:
      names.erase(change.a);
      break;
    default:
      break;
  }
}

void RecordingDisk::add(Change change) {
  change_names(change, names_);
  changes_.push_back(std::move(change));
}

bool RecordingDisk::lay_out(std::size_t count, const fs::path& place, std::mt19937& random) const {
  const std::scoped_lock lock(mutex_);
  struct File {
    std::string sure;
    std::vector<const Change*> unsure;
  };
  const auto make = [](std::string& bytes, const Change& change, std::size_t length) {
    if (change.kind == Kind::truncate) {
      bytes.resize(change.offset);
      return;
    }
    if (bytes.size() < change.offset + length) bytes.resize(change.offset + length);
    bytes.replace(change.offset, length, change.bytes, 0, length);
  };
  std::map<int, File> files;
  for (const auto& [id, bytes] : at_first_) files[id].sure = bytes;
  Names names = names_at_first_;
  std::vector<const Change*> unsure_names;
  for (std::size_t i = 0; i < count; ++i) {
    const Change& change = changes_[i];
    if (change.kind == Kind::write || change.kind == Kind::truncate) {
      files[change.id].unsure.push_back(&change);
    } else if (change.kind == Kind::sync) {
      File& file = files[change.id];
      // What was written while the sync ran is not sure.
      std::vector<const Change*> later;
      for (const Change* one : file.unsure) {
        if (one->ended <= change.begun) {
          make(file.sure, *one, one->bytes.size());
        } else {
          later.push_back(one);
        }
      }
      file.unsure = std::move(later);
    } else if (change.kind == Kind::sync_folder) {
      for (const Change* one : unsure_names) change_names(*one, names);
      unsure_names.clear();
    } else {
      unsure_names.push_back(&change);
    }
  }
  const auto draw = [&](std::size_t most) {
    return std::uniform_int_distribution<std::size_t>(0, most)(random);
  };
  bool is_unsure = !unsure_names.empty();
  const std::size_t known = draw(unsure_names.size());
  for (std::size_t i = 0; i < known; ++i) change_names(*unsure_names[i], names);
  for (const auto& [name, id] : names) {
    const File& file = files[id];
    is_unsure = is_unsure || !file.unsure.empty();
    std::string bytes = file.sure;
    const bool in_order = draw(1) == 0;
    const std::size_t reached = draw(file.unsure.size());
    for (std::size_t i = 0; i < reached; ++i) {
      const std::size_t whole = file.unsure[i]->bytes.size();
      if (!in_order && draw(2) == 0) continue;
      make(bytes, *file.unsure[i], i + 1 == reached ? draw(whole) : whole);
    }
    std::ofstream(place / name, std::ios::binary) << bytes;
  }
  return is_unsure;
}

std::vector<RecordingDisk::Clock::duration> RecordingDisk::times_until_synced(
    const std::string& ending) const {
  const std::scoped_lock lock(mutex_);
  std::map<int, bool> wanted;
  std::vector<Clock::duration> times;
  for (std::size_t i = 0; i < changes_.size(); ++i) {
    const Change& change = changes_[i];
    if (change.kind == Kind::name && change.a.ends_with(ending)) wanted[change.id] = true;
    if (change.kind != Kind::write || !wanted[change.id]) continue;
    Clock::duration time = Clock::duration::max();
    for (std::size_t j = i; j < changes_.size() && time == Clock::duration::max(); ++j) {
      const Change& sync = changes_[j];
      if (sync.kind == Kind::sync && sync.id == change.id && sync.begun >= change.ended) {
        time = sync.ended - change.ended;
      }
    }
    times.push_back(time);
  }
  return times;
}

int RecordingDisk::open(const char* path, int flags, mode_t mode) {
  const std::scoped_lock lock(mutex_);
  const int file = Disk::open(path, flags, mode);
  if (file < 0) return file;
  if ((flags & O_DIRECTORY) != 0) {
    if (fs::absolute(path).lexically_normal() == folder_) open_files_[file] = folder_id;
    return file;
  }
  if (!is_here(path)) return file;
  const auto known = names_.find(name_of(path));
  if (known == names_.end()) {
    Change change;
    change.id = next_id_++;
    change.a = name_of(path);
    open_files_[file] = change.id;
    add(std::move(change));
  } else {
    open_files_[file] = known->second;
  }
  return file;
}

int RecordingDisk::close(int file) {
  const std::scoped_lock lock(mutex_);
  open_files_.erase(file);
  return Disk::close(file);
}

ssize_t RecordingDisk::write(int file, const void* bytes, std::size_t count) {
  const std::scoped_lock lock(mutex_);
  const off_t place = ::lseek(file, 0, SEEK_CUR);
  const ssize_t written = Disk::write(file, bytes, count);
  if (written <= 0 || !open_files_.contains(file)) return written;
  add({Kind::write,
       open_files_[file],
       {},
       {},
       static_cast<std::size_t>(place),
       std::string(static_cast<const char*>(bytes), static_cast<std::size_t>(written)),
       Clock::now(),
       Clock::now()});
  return written;
}

ssize_t RecordingDisk::write_at(int file, const void* bytes, std::size_t count, off_t offset) {
  const std::scoped_lock lock(mutex_);
  const ssize_t written = Disk::write_at(file, bytes, count, offset);
  if (written <= 0 || !open_files_.contains(file)) return written;
  add({Kind::write,
       open_files_[file],
       {},
       {},
       static_cast<std::size_t>(offset),
       std::string(static_cast<const char*>(bytes), static_cast<std::size_t>(written)),
       Clock::now(),
       Clock::now()});
  return written;
}

int RecordingDisk::truncate(int file, off_t size) {
  const std::scoped_lock lock(mutex_);
  const int outcome = Disk::truncate(file, size);
  if (outcome == 0 && open_files_.contains(file)) {
    add({Kind::truncate,
         open_files_[file],
         {},
         {},
         static_cast<std::size_t>(size),
         {},
         Clock::now(),
         Clock::now()});
  }
  return outcome;
}

int RecordingDisk::sync(int file) {
  const auto begun = Clock::now();
  std::this_thread::sleep_for(sync_time);
  const int outcome = Disk::sync(file);
  const std::scoped_lock lock(mutex_);
  if (outcome == 0 && open_files_.contains(file)) {
    const int id = open_files_[file];
    add({id == folder_id ? Kind::sync_folder : Kind::sync, id, {}, {}, 0, {}, begun, Clock::now()});
  }
  return outcome;
}

int RecordingDisk::rename(const char* from, const char* to) {
  const std::scoped_lock lock(mutex_);
  const int outcome = Disk::rename(from, to);
  if (outcome == 0 && is_here(from)) {
    add({Kind::rename, -1, name_of(from), name_of(to), 0, {}, {}, {}});
  }
  return outcome;
}

int RecordingDisk::exchange(const char* a, const char* b) {
  const std::scoped_lock lock(mutex_);
  const int outcome = Disk::exchange(a, b);
  if (outcome == 0 && is_here(a)) add({Kind::exchange, -1, name_of(a), name_of(b), 0, {}, {}, {}});
  return outcome;
}

int RecordingDisk::link(const char* from, const char* to) {
  const std::scoped_lock lock(mutex_);
  const int outcome = Disk::link(from, to);
  if (outcome == 0 && is_here(to)) {
    add({Kind::name, names_.at(name_of(from)), name_of(to), {}, 0, {}, {}, {}});
  }
  return outcome;
}

int RecordingDisk::unlink(const char* path) {
  const std::scoped_lock lock(mutex_);
  const int outcome = Disk::unlink(path);
  if (outcome == 0 && is_here(path)) add({Kind::unlink, -1, name_of(path), {}, 0, {}, {}, {}});
  return outcome;
}

}  // namespace lowstride::testing_help
