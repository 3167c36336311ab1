# `cpack -G DEB` in the build folder, or the target `package`: a Debian package of what `cmake --install` installs.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME lowstride)
set(CPACK_PACKAGE_VENDOR "the authors of Lowstride")
# A Debian package names an address of who made it (Policy 5.6.2). The project has none; .invalid never leads anywhere (RFC 2606).
# Who hands a package out puts their own here: cpack -D CPACK_PACKAGE_CONTACT="NAME <ADDRESS>".
set(CPACK_PACKAGE_CONTACT "the authors of Lowstride <authors@lowstride.invalid>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "work out walking-bass lines by ear and leave with tab")
set(CPACK_PACKAGE_DESCRIPTION
  "Turns a practice recording of a band, a duo, or one guitar playing bass and
chords into tab that a pupil can play: proposes bass line, beats and chord
changes with their confidence, plays passages slowly at their own pitch, keeps
every correction, and writes pages, MusicXML, MIDI files and practice audio.")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS
  OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_RELEASE 1)
set(CPACK_DEBIAN_PACKAGE_SECTION sound)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
# Libraries by what the programs are linked with; the fonts of printed pages and the driver of
# the window are looked up by name at run time, and so are told here.
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS "fonts-dejavu-core, fonts-noto-core, libgl1")
set(CPACK_DEBIAN_PACKAGE_GENERATE_SHLIBS OFF)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
# Packing takes what is built (setup.sh builds it); it does not build the tests first.
set(CMAKE_SKIP_INSTALL_ALL_DEPENDENCY ON)
include(CPack)
