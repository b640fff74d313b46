"""Numbers of the normal and a few other distributions, as statistics uses them."""

SD_OF_MAD = 1.4826
"""Standard deviation of a normal over its median absolute deviation: 1 / Φ⁻¹(3/4)."""
SD_OF_MEAN_DEVIATION = 1.2533
"""Standard deviation of a normal over its mean absolute deviation, and of a median over that of a mean: √(π/2)."""
Z95 = 1.96
"""Half of the 95% interval of a normal, in standard deviations: Φ⁻¹(0.975)."""
HALF_WIDTHS_A_SD = 1.73
"""Half of an even distribution's width over its standard deviation: √3 (GUM, JCGM 100:2008, 4.3.7)."""
MEDIAN_CHI2_1 = 0.4549
"""Median of chi-squared with one degree of freedom."""
CHI2_1_AT_99 = 6.63
"""99% point of chi-squared with one degree of freedom."""
