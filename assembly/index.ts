export { abiVersion, heapStart } from './abi';
export { fftKnowsSize, fftPrepare, fftTableBytes } from './fft-table';
export { fftForward, fftInverse } from './fft';
export { hannWindow, sumWindow, sumWindowSquares } from './window';
export { stft } from './stft';
export { istft } from './istft';
export { powerFromSpectra } from './power';
