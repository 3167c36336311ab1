// Part of builds under the address sanitizer alone: what its leak check may find and be silent
// about.

// NOLINTNEXTLINE(bugprone-reserved-identifier): the sanitizer's own name for it
extern "C" const char* __lsan_default_suppressions() {
  // fontconfig keeps its tables of fonts until the process ends. libsndfile forgets its Vorbis
  // encoder when the very first write of a file fails. SDL keeps its list of devices.
  return "leak:libfontconfig\nleak:libvorbis\nleak:libogg\nleak:libSDL2\n";
}

// NOLINTNEXTLINE(bugprone-reserved-identifier): likewise
extern "C" const char* __lsan_default_options() { return "print_suppressions=0"; }
