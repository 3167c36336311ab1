/* The fonts of the desk, carried in the program: DejaVu 2.37 (Bitstream Vera licence). */
    .section .rodata
    .global lowstride_font_text, lowstride_font_text_end
    .global lowstride_font_bold, lowstride_font_bold_end
    .global lowstride_font_mono, lowstride_font_mono_end
    .balign 16
lowstride_font_text:
    .incbin LOWSTRIDE_FONT_TEXT
lowstride_font_text_end:
    .balign 16
lowstride_font_bold:
    .incbin LOWSTRIDE_FONT_BOLD
lowstride_font_bold_end:
    .balign 16
lowstride_font_mono:
    .incbin LOWSTRIDE_FONT_MONO
lowstride_font_mono_end:
    .byte 0
    .section .note.GNU-stack, "", @progbits
