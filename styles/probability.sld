<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>probability</Name>
    <UserStyle>
      <Name>probability</Name>
      <Title>How likely it is seen</Title>
      <Abstract>Probability that each post is seen, by the error model.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>probability</Name>
          <Title>How likely it is seen</Title>
          <RasterSymbolizer>
            <ColorMap>
              <ColorMapEntry color="#34406B" quantity="0" opacity="0.75" label="Surely hidden"/>
              <ColorMapEntry color="#34406B" quantity="0.1" opacity="0.75" label="0.1: hidden in nine cases of ten"/>
              <ColorMapEntry color="#C2703D" quantity="0.5" opacity="0.75" label="0.5: it could be either"/>
              <ColorMapEntry color="#F3DF9B" quantity="0.9" opacity="0.75" label="0.9: seen in nine cases of ten"/>
              <ColorMapEntry color="#F3DF9B" quantity="1" opacity="0.75" label="Surely seen"/>
            </ColorMap>
          </RasterSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
