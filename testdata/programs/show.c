/* The night scene of the shadow theatre: rain, an echo and a cave, none of which
 * sounds. Only what lies where matters here. */
#include <stdint.h>

extern uint32_t stack_top;
void reset(void);
int main(void);

__attribute__((section(".vectors"), used)) void *const vectors[] = { &stack_top, reset };

static float rain_state[8];
static int16_t echo_line[4800];
static float cave_lines[600];
static float gain = 0.5f;
static uint8_t lantern_map[100];

__attribute__((section(".rodata.one"), used)) const uint32_t cave_window_one[32] = { 1, 2, 3, 5, 8, 13, 21, 34 };
__attribute__((section(".rodata.two"), used)) const uint32_t cave_window_two[32] = { 1, 2, 3, 5, 8, 13, 21, 34 };

__attribute__((noinline)) float noise_block(float *state)
{
    return state[0] = state[0] * 3.0f + 1.0f;
}

__attribute__((noinline)) float delay_block(int16_t *line, int at, float x)
{
    float y = line[at];
    line[at] = (int16_t)x;
    return y * gain;
}

__attribute__((noinline)) float cave_block(float *lines, float x)
{
    for (int i = 599; i > 0; i--)
        lines[i] = lines[i - 1];
    lines[0] = x;
    return lines[599];
}

void reset(void)
{
    main();
}

int main(void)
{
    for (;;) {
        float x = delay_block(echo_line, lantern_map[3], noise_block(rain_state));
        gain = (float)(cave_block(cave_lines, x) * 0.2);
    }
}
