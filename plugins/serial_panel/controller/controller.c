/* A controller of a serial panel in C99, from PROTOCOL.md: no library, no allocation, about 1.5 kB for 240 pixels across.
 *
 * Call controller_start() once, controller_byte() with each byte from the line (an interrupt should collect them in a
 * buffer of WINDOW times 256 bytes), and controller_passed() now and then. Write the functions below them for your board.
 */
#include <stdbool.h>
#include <stdint.h>

#ifndef WIDTH
#define WIDTH 240
#define HEIGHT 240
#endif
#define CAN 3    /* 1 pixels + 2 values: what you have written */
#define WINDOW 4 /* frames that your receive buffer holds */
#define DARK_AFTER_MS 5000

/* Yours: what the board does. */
void line_write(const uint8_t *bytes, uint16_t count);
void panel_black(void);                                                      /* the whole picture */
void panel_draw(uint16_t x, uint16_t y, uint16_t count, uint16_t colour);    /* so many pixels of a row */
void panel_show(void);                                                       /* the picture is complete */
void panel_light(uint16_t level);                                            /* 0 dark, 0xFFFF bright, linear */
void panel_said(uint8_t kind, const uint8_t *payload, uint16_t length);      /* section 6; kind 0: forget everything */

enum {
    HELLO = 0x01, PING = 0x02, BYE = 0x03, LIGHT = 0x04, SHOW = 0x05, RECTANGLE = 0x10, MORE = 0x11,
    PAGE = 0x20, LAST_OF_VALUES = 0x2F, GREETING = 0x81, ACKNOWLEDGE = 0x82
};

/* the frame that is arriving, without stuffing (section 2) */
static uint8_t frame[254];
static uint16_t length;
static uint8_t left;
static bool zero_due, spoilt, empty = true;
/* the conversation (sections 3 and 4) */
static uint8_t session, expected;
static bool asked;
static uint16_t light;
static uint32_t quiet_ms;
/* the rectangle (section 5) */
static uint16_t colours[128], above[WIDTH];
static uint8_t oldest;
static uint16_t x0, y0, across, down, column, row, last;
static bool drawing;

static uint16_t crc_of(const uint8_t *bytes, uint16_t count) {
    uint16_t crc = 0xFFFF;
    while (count--) {
        crc ^= (uint16_t)(*bytes++ << 8);
        for (uint8_t bit = 0; bit < 8; bit++)
            crc = (uint16_t)(crc & 0x8000 ? crc << 1 ^ 0x1021 : crc << 1);
    }
    return crc;
}

static uint16_t number(uint16_t at) { return (uint16_t)(frame[at] << 8 | frame[at + 1]); }

static void answer(uint8_t kind, const uint8_t *payload, uint8_t count) {
    uint8_t body[16] = {kind, 0}, wire[18] = {0};
    uint8_t mark = 0, size = 2;
    while (count--)
        body[size++] = *payload++;
    uint16_t crc = crc_of(body, size);
    body[size++] = (uint8_t)(crc >> 8);
    body[size++] = (uint8_t)crc;
    for (uint8_t i = 0; i < size; i++) {
        if (body[i]) {
            wire[i + 1] = body[i];
        } else {
            wire[mark] = (uint8_t)(i + 1 - mark);
            mark = (uint8_t)(i + 1);
        }
    }
    wire[mark] = (uint8_t)(size + 1 - mark);
    line_write(wire, (uint16_t)(size + 2));
}

static void greet(void) {
    const uint8_t said[8] = {1, session, WIDTH >> 8, WIDTH & 255, HEIGHT >> 8, HEIGHT & 255, CAN, WINDOW};
    answer(GREETING, said, 8);
}

static void acknowledge(bool again) {
    const uint8_t said[2] = {expected, again};
    answer(ACKNOWLEDGE, said, 2);
}

static void ask_again(void) {
    if (session && !asked) {
        asked = true;
        acknowledge(true);
    }
}

static void step(uint16_t count) {
    uint32_t place = (uint32_t)column + count;
    while (place >= across) {
        place -= across;
        if (++row >= down) {
            drawing = false;
            return;
        }
    }
    column = (uint16_t)place;
}

/* Draw pixels of `last`, as far as a row goes at a time. */
static void run(uint32_t count) {
    while (drawing && count) {
        uint16_t part = (uint16_t)(across - column);
        if (part > count)
            part = (uint16_t)count;
        panel_draw((uint16_t)(x0 + column), (uint16_t)(y0 + row), part, last);
        for (uint16_t i = 0; i < part; i++)
            above[column + i] = last;
        step(part);
        count -= part;
    }
}

static void pixels(uint8_t what, uint32_t count) {
    if (what == 0x80) {
        run(count);
    } else if (what == 0xA0) {
        while (drawing && count) {
            uint16_t part = count > 0x8000 ? 0x8000 : (uint16_t)count;
            step(part);
            count -= part;
        }
    } else {
        while (drawing && count--) {
            last = above[column];
            run(1);
        }
    }
}

static void draw(uint16_t at, uint16_t end) {
    while (drawing && at < end) {
        uint8_t code = frame[at++];
        if (code < 0x80) {
            last = colours[code];
            run(1);
        } else if (code < 0xE0) {
            pixels(code & 0xE0, (code & 0x1F) + 1u);
        } else if (code > 0xE3 || at + 2 > end) {
            drawing = false;
        } else {
            uint16_t value = number(at);
            at += 2;
            if (code == 0xE0) {
                last = colours[oldest] = value;
                oldest = (oldest + 1) & 127;
                run(1);
            } else {
                pixels((uint8_t)(0x80 + 0x20 * (code - 0xE1)), value + 1ul);
            }
        }
    }
}

static void rectangle(void) {
    x0 = number(2), y0 = number(4), across = number(6), down = number(8);
    drawing = across && down && (uint32_t)x0 + across <= WIDTH && (uint32_t)y0 + down <= HEIGHT;
    column = row = last = 0;
    for (uint16_t i = 0; drawing && i < across; i++)
        above[i] = 0;
}

static void act(uint8_t kind, uint16_t end) {
    if (kind == LIGHT && end >= 4) {
        light = number(2);
    } else if (kind == SHOW) {
        panel_show();
    } else if (kind == BYE) {
        light = session = 0;
    } else if (kind == RECTANGLE && end >= 10) {
        rectangle();
        draw(10, end);
    } else if (kind == MORE) {
        draw(2, end);
    } else if (kind >= PAGE && kind <= LAST_OF_VALUES) {
        panel_said(kind, frame + 2, (uint16_t)(end - 2));
    }
    panel_light(light);
}

static void take(uint16_t end) {
    if (frame[0] == HELLO) {
        if (end < 5 || !frame[3])
            return;
        session = frame[3];
        expected = oldest = 0;
        asked = drawing = false;
        quiet_ms = light = 0;
        for (uint8_t i = 0; i < 128; i++)
            colours[i] = 0;
        panel_light(0);
        panel_black();
        panel_said(0, frame, 0);
        greet();
        return;
    }
    if (!session) {
        greet();
        return;
    }
    quiet_ms = 0;
    uint8_t behind = (uint8_t)(expected - frame[1]);
    if (behind == 0) {
        expected++;
        asked = false;
        act(frame[0], end);
        acknowledge(false);
    } else if (behind < 128) {
        panel_light(light);
        acknowledge(false);
    } else {
        panel_light(light);
        ask_again();
    }
}

void controller_start(void) { greet(); }

void controller_passed(uint16_t ms) {
    if (quiet_ms < DARK_AFTER_MS && (quiet_ms += ms) >= DARK_AFTER_MS)
        panel_light(0);
}

static void store(uint8_t byte) {
    if (length < sizeof frame)
        frame[length++] = byte;
    else
        spoilt = true;
}

void controller_byte(uint8_t byte) {
    if (byte == 0) {
        if (!empty) {
            if (!spoilt && !left && length >= 4 && crc_of(frame, length) == 0)
                take((uint16_t)(length - 2));
            else
                ask_again();
        }
        length = left = 0;
        zero_due = spoilt = false;
        empty = true;
        return;
    }
    empty = false;
    if (left) {
        store(byte);
        left--;
    } else {
        if (zero_due)
            store(0);
        left = (uint8_t)(byte - 1);
        zero_due = byte != 255;
    }
}
