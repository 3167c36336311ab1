/* The weights file as it is, between two symbols. LOWSTRIDE_EARS_FILE comes from CMakeLists.txt. */
    .section .rodata
    .balign 16
    .global lowstride_ears_begin
    .global lowstride_ears_end
lowstride_ears_begin:
    .incbin LOWSTRIDE_EARS_FILE
lowstride_ears_end:
    .byte 0

    .section .note.GNU-stack,"",@progbits
