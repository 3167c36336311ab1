# Arrows between the rooms point one way: dsp knows nothing of ours, src knows dsp, gui knows src.
# Headers of dsp hold the standard library and dsp alone, so that signal code can be used anywhere.
function(lowstride_check_room room forbidden)
  file(GLOB_RECURSE files CONFIGURE_DEPENDS
    "${CMAKE_SOURCE_DIR}/${room}/*.hpp" "${CMAKE_SOURCE_DIR}/${room}/*.cpp")
  foreach(file IN LISTS files)
    file(STRINGS "${file}" bad REGEX "^[ \t]*#[ \t]*include[ \t]*\"(${forbidden})/")
    if(bad)
      message(FATAL_ERROR "${file} includes a room that ${room}/ must not know: ${bad}")
    endif()
    if(room STREQUAL "dsp" AND file MATCHES "\\.hpp$")
      file(STRINGS "${file}" bad REGEX "^[ \t]*#[ \t]*include[ \t]*<[^>]*[./][^>]*>")
      if(bad)
        message(FATAL_ERROR "${file}: a header of dsp/ includes the standard library and dsp/ only: ${bad}")
      endif()
    endif()
  endforeach()
endfunction()

lowstride_check_room(dsp "src|gui|tests")
lowstride_check_room(src "gui|tests")
lowstride_check_room(gui "tests")
